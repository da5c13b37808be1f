"""Asking one module for parameters: as many at once as it takes, and remembering how many that is.

A module may refuse several parameters in one request, keep silent, or answer out of form. Then they are asked one by
one; where that works, it stays so.

Source: ISO 15765-4 / SAE J1979: up to six parameters in one request on CAN (recalled).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, runtime_checkable

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import current
from asleft.codec.obd.parameters import PARAMETERS
from asleft.model.errors import AsleftError, ModuleError
from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation
from asleft.talk.errors import ModuleSilent
from asleft.talk.reading_items import absence_of

#: A live value that takes longer than this is of no use, s.
_LONGEST_S = 2.0
#: So often may a module be silent to several parameters and then answer one, before it is asked one by one for good.
_DOUBTS = 2


class Taken(msgspec.Struct, frozen=True):
    """What one request brought.

    Attributes:
        asked: parameters of the request.
        parts: data bytes by parameter; those left out are missing.
        answer: the whole answer.
        time_s: when it was received, s on the clock.
        absence: why there is no answer.
    """

    asked: tuple[int, ...]
    parts: dict[int, bytes]
    answer: bytes
    time_s: float
    absence: Absence | None = None


class _Answer(Protocol):
    @property
    def data(self) -> bytes: ...

    @property
    def time_s(self) -> float: ...


@runtime_checkable
class _Timed(Protocol):
    """A conversation that says when an answer was received."""

    async def ask_timed(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> _Answer: ...


class Asking:
    """Requests to one module.

    Args:
        talk: conversation.
        clock: for the time of receipt, where the conversation does not say it.
        address: module.

    Attributes:
        at_once: parameters that go into one request.
    """

    def __init__(self, talk: Conversation, clock: Clock, address: ModuleAddress) -> None:
        self.at_once = current.MOST_AT_ONCE
        self._talk = talk
        self._clock = clock
        self._address = address
        self._doubts = 0

    async def once(self, pids: tuple[int, ...], take: Callable[[Taken], None], until_s: float = float("inf")) -> None:
        """Ask for each parameter once; ``take`` gets what each request brought. Ends early at ``until_s``.

        Raises: LinkError (link-lost).
        """
        for group in self._groups(pids):
            if self._clock.now() >= until_s:
                return
            taken = await self._ask(group)
            if taken is not None:
                take(taken)
                continue
            for pid in group:
                single = await self._ask((pid,))
                if single is not None:
                    take(single)

    def _groups(self, pids: tuple[int, ...]) -> list[tuple[int, ...]]:
        alone = [pid for pid in pids if PARAMETERS[pid].alone]
        rest = [pid for pid in pids if not PARAMETERS[pid].alone]
        groups = [tuple(rest[i : i + self.at_once]) for i in range(0, len(rest), self.at_once)]
        return groups + [(pid,) for pid in alone]

    async def _ask(self, group: tuple[int, ...]) -> Taken | None:
        """One request; None: this module wants them one by one."""
        several = len(group) > 1
        try:
            answer, time_s = await self._receive(current.current_request(group))
            parts = current.split_current(answer, group)
        except ModuleSilent as error:
            if several and await self._answers_one(group[0]):
                return None
            return self._absent(group, error)
        except (ModuleError, AnswerMalformed) as error:
            if several:
                self.at_once = 1
                return None
            return self._absent(group, error)
        except AsleftError as error:
            return self._absent(group, error)
        return Taken(group, parts, answer, time_s)

    async def _answers_one(self, pid: int) -> bool:
        try:
            await self._receive(current.current_request((pid,)))
        except ModuleError:
            return False
        self._doubts += 1
        if self._doubts >= _DOUBTS:
            self.at_once = 1
        return True

    def _absent(self, group: tuple[int, ...], error: AsleftError) -> Taken:
        return Taken(group, {}, b"", self._clock.now(), absence_of(error))

    async def _receive(self, request: bytes) -> tuple[bytes, float]:
        if isinstance(self._talk, _Timed):
            answer = await self._talk.ask_timed(self._address, request, deadline_s=_LONGEST_S)
            return answer.data, answer.time_s
        data = await self._talk.ask(self._address, request, deadline_s=_LONGEST_S)
        return data, self._clock.now()
