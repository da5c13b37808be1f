"""One control module as conversations know it: its lane, its times, its session, and answers that may still come."""

from __future__ import annotations

import asyncio
import typing

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.isotp import Direction, WrongSequenceNumber
from asleft.codec.refusal import Protocol
from asleft.model.errors import AsleftError
from asleft.model.module import ModuleAddress
from asleft.ports.clock import Clock

from .lane import Lane
from .load import BusLoad
from .matching import Match, match, may_confuse
from .settings import TalkSettings, Timing
from .turns import Turns
from .waiting import until

#: Longest P2 that is learned from late answers, s (common practice, no source).
_P2_LEARNED_S = 0.5
#: Requests of which it is kept how long they took.
_DURATIONS = 256


class Waiting(typing.Protocol):
    """One request that waits for its answer: what a partner hands events to."""

    def on_sent(self, time_s: float) -> None:
        """The request is on the wire completely."""
        ...

    def on_message(self, payload: bytes, started_s: float, time_s: float) -> bool:
        """A message came; whether it was taken."""
        ...

    def on_failed(self, error: AsleftError, direction: Direction) -> None:
        """A transfer broke, or the link is gone."""
        ...


class _Owed(msgspec.Struct):
    request: bytes
    until_s: float


class Partner:
    """One module on one link.

    Args:
        address: of the module; the name is for messages.
        lane: the way to it.
        clock: the link's.
        settings: first times.
        load: how full its bus is, where that can be heard.
        protocol: its language.

    Attributes:
        lock: one request at a time.
        timing: the module's own times once it said them.
        session: diagnostic session that may be open; None: the default one.
        waiting: the request that has the lane now.
        last_sent_s: when it was last spoken to.
        strangers: messages that nobody waited for, so far.
    """

    def __init__(
        self,
        address: ModuleAddress,
        lane: Lane,
        clock: Clock,
        settings: TalkSettings,
        *,
        load: BusLoad | None = None,
        protocol: Protocol = Protocol.UDS,
    ) -> None:
        self._protocol = protocol
        self.address = address
        self.load = load
        self.lane = lane
        self.lock = Turns(clock, 1)
        self.timing = Timing(settings.p2_s, settings.p2_star_s)
        self.session: int | None = None
        self.waiting: Waiting | None = None
        self.last_sent_s = float("-inf")
        self.strangers = 0
        self._durations: dict[bytes, float] = {}
        self._clock = clock
        self._straggler_s = settings.straggler_s
        self._strays_until_s = float("-inf")
        self._owed: list[_Owed] = []
        self._cleared: asyncio.Future[None] | None = None
        lane.user = self

    @property
    def name(self) -> str:
        """For messages, as ``engine 7E0/7E8``."""
        return self.address.text

    # -- from the lane ---------------------------------------------------------------------------------------------

    def on_sent(self, time_s: float) -> None:
        """The request is on the wire."""
        self.last_sent_s = time_s
        if self.waiting is not None:
            self.waiting.on_sent(time_s)

    def on_message(self, payload: bytes, started_s: float, time_s: float) -> None:
        """Hand a message to who waits, else look whether it is a late one."""
        if self.waiting is None or not self.waiting.on_message(payload, started_s, time_s):
            self._strange(payload)

    def on_failed(self, error: AsleftError, direction: Direction) -> None:
        """Hand a broken transfer to who waits. Its other frames may still come: they fit into any later answer."""
        if direction is Direction.RECEIVING and isinstance(error, WrongSequenceNumber):
            self._strays_until_s = self._clock.now() + self._straggler_s
        if self.waiting is not None:
            self.waiting.on_failed(error, direction)

    # -- how long it takes -----------------------------------------------------------------------------------------

    @property
    def busy_s(self) -> float:
        """How long everything that was asked of it takes, each once, s."""
        return sum(self._durations.values())

    def took(self, request: bytes, seconds: float) -> None:
        """One request took so long, with its retries."""
        if len(self._durations) < _DURATIONS or request in self._durations:
            self._durations[request] = seconds

    # -- late answers ----------------------------------------------------------------------------------------------

    def owe(self, request: bytes, until_s: float) -> None:
        """An answer to this did not come and may still come until then."""
        self._owed.append(_Owed(request, until_s))

    async def strays_gone(self, end_s: float) -> None:
        """Wait until frames of an answer that broke can no longer be taken for those of the next, at most to ``end_s``.

        ISO-TP numbers frames by sixteen and says nothing of which message they belong to.
        """
        while self._clock.now() < min(self._strays_until_s, end_s):
            await self._clock.sleep_until(min(self._strays_until_s, end_s))

    async def settle(self, request: bytes, end_s: float) -> None:
        """Wait until no late answer can be taken for the one to ``request``, at most until ``end_s``."""
        await self.strays_gone(end_s)
        while (due_s := self._confusable_until(request)) is not None and self._clock.now() < end_s:
            self._cleared = asyncio.get_running_loop().create_future()
            await until(self._cleared, self._clock, min(due_s, end_s))
            self._cleared = None

    def _confusable_until(self, request: bytes) -> float | None:
        now_s = self._clock.now()
        self._owed = [owed for owed in self._owed if owed.until_s > now_s]
        return max(
            (owed.until_s for owed in self._owed if may_confuse(owed.request, request, self._protocol)), default=None
        )

    def _strange(self, payload: bytes) -> None:
        self.strangers += 1
        for owed in self._owed:
            if _answers(owed.request, payload, self._protocol):
                self._owed.remove(owed)
                self._be_patient()
                break
        if self._cleared is not None and not self._cleared.done():
            self._cleared.set_result(None)

    def _be_patient(self) -> None:
        """It does answer, only later than it should: wait longer from now on, within bounds."""
        self.timing = Timing(min(2 * self.timing.p2_s, max(_P2_LEARNED_S, self.timing.p2_s)), self.timing.p2_star_s)


def _answers(request: bytes, payload: bytes, protocol: Protocol) -> bool:
    """Whether this ends the wait for ``request``; a module that says *pending* still owes its answer."""
    try:
        return match(request, payload, protocol) in (Match.POSITIVE, Match.NEGATIVE)
    except AnswerMalformed:
        return True
