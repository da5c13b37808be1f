"""One request sent once, and the wait for its answer. It ends: with the answer, or with a typed error, in its time.

Times run from the moment the request is on the wire, where the link tells it. *Response pending* (78) extends the wait
to P2*, again and again, up to the bound of the whole request. A long answer on its way is waited for by ISO-TP's own
times.

Source: ISO 14229-2 (P2, P2*), ISO 14229-1 8.4 and annex A (78); recalled.
"""

from __future__ import annotations

import asyncio

from asleft.codec.answer import AnswerMalformed
from asleft.codec.isotp import Direction, InterruptedByNew, TransferBroken
from asleft.codec.refusal import Protocol
from asleft.model.errors import AsleftError, Code, LinkError
from asleft.ports.clock import Clock, Timer

from .errors import LinkBusy, ModuleRefused, ModuleSilent, shown
from .matching import Match, expects_answer, match
from .partner import Partner
from .settings import TalkSettings

#: An event loop may call a timer early by its resolution, s.
_EARLY_S = 1e-6

#: P2 is waited for once more while frames that win against the module's answer take so much of the bus time, and at
#: most so often (common practice, no source).
_FULL = 0.95
_MOST_STRETCHES = 4


class Exchange:
    """One request on its way.

    Args:
        partner: the module; its lock is held.
        request: bytes.
        clock, settings: as of the conversation.
        end_s: bound of the whole request, s on the clock.
        protocol: language, for the words of a refusal.

    Attributes:
        pending: how often the module said *response pending*.
        late: the answer came only in the calm time after its due time.
        answered_s: when the last frame of the answer came, s; nan before.
    """

    def __init__(
        self,
        partner: Partner,
        request: bytes,
        clock: Clock,
        settings: TalkSettings,
        *,
        end_s: float,
        protocol: Protocol = Protocol.UDS,
    ) -> None:
        self.pending = 0
        self.late = False
        self.answered_s = float("nan")
        self._partner = partner
        self._request = request
        self._clock = clock
        self._settings = settings
        self._end_s = end_s
        self._protocol = protocol
        self._outcome: asyncio.Future[bytes | AsleftError] = asyncio.get_running_loop().create_future()
        self._begun_s = clock.now()
        self._handed = False
        self._sent_s: float | None = None
        self._due_s = 0.0
        self._timer: Timer | None = None
        self._timer_s = 0.0
        self._stretched = 0
        self._window_s = 0.0

    async def run(self, *, listen_only: bool = False) -> bytes:
        """Send and wait; with ``listen_only`` somebody else sends (a request to everybody).

        Raises: ModuleRefused, ModuleSilent, AnswerMalformed, TransferBroken, LinkError.
        """
        partner = self._partner
        partner.waiting = self
        try:
            if self._sent_s is None:
                self._wait_until(min(self._clock.now() + self._settings.onto_bus_s, self._end_s))
            if not listen_only:
                self._handed = True
                partner.last_sent_s = self._clock.now()
                partner.lane.send(self._request)
            outcome = await self._outcome
        finally:
            self._leave()
        if isinstance(outcome, AsleftError):
            raise outcome
        return outcome

    # -- from the partner ------------------------------------------------------------------------------------------

    def on_sent(self, time_s: float) -> None:
        """The request is on the wire: the module's time runs."""
        if self._sent_s is None:
            self._sent_s, self._handed = time_s, True
            self._window_s = time_s
            self._wait_until(min(time_s + self._longest(self._partner.timing.p2_s), self._end_s))

    def on_message(self, payload: bytes, started_s: float, time_s: float) -> bool:
        """Look whether this is the answer; whether it was taken."""
        if self._sent_s is None or started_s < self._sent_s or self._outcome.done():
            return False
        try:
            kind = match(self._request, payload, self._protocol)
        except AnswerMalformed as error:
            self._finish(error)
            return True
        self.answered_s = time_s
        if kind is Match.PENDING:
            self.pending += 1
            self._wait_until(min(time_s + self._longest(self._partner.timing.p2_star_s), self._end_s))
        elif kind is Match.NEGATIVE:
            self._finish(ModuleRefused(self._partner.name, self._request, payload[2], self._protocol))
        elif kind is Match.POSITIVE:
            self.late = not self.pending and started_s > self._due_s - self._settings.calm_s
            self._finish(payload)
        elif self._clock.now() >= self._due_s:
            self._run_out()  # it was another message that kept us waiting beyond the time
        return kind is not Match.NOT_OURS

    def on_failed(self, error: AsleftError, direction: Direction) -> None:
        """A transfer broke. One interrupted by a new message goes on with that."""
        if not (direction is Direction.RECEIVING and isinstance(error, InterruptedByNew)):
            self._finish(error)

    # -- time ------------------------------------------------------------------------------------------------------

    def _longest(self, module_s: float) -> float:
        return module_s + self._settings.margin_s + self._settings.calm_s

    def _wait_until(self, due_s: float) -> None:
        self._due_s = due_s
        if self._timer is not None:
            if self._timer_s <= due_s:
                return
            self._timer.cancel()
        self._timer_s = due_s
        self._timer = self._clock.call_at(due_s, self._on_timer)

    def _on_timer(self) -> None:
        self._timer = None
        now_s = self._clock.now()
        if self._outcome.done():
            return
        if now_s < self._due_s - _EARLY_S:
            self._wait_until(self._due_s)
        elif now_s >= self._end_s - _EARLY_S:
            self._run_out()
        elif self._sent_s is None and self._partner.lane.sending:
            self._wait_until(min(now_s + self._settings.onto_bus_s, self._end_s))
        elif self._bus_is_full(now_s):
            self._window_s = now_s
            self._wait_until(min(now_s + self._longest(self._partner.timing.p2_s), self._end_s))
        elif self._partner.lane.receiving:
            self._timer_s = self._end_s
            self._timer = self._clock.call_at(self._end_s, self._on_timer)
        else:
            self._run_out()

    def _bus_is_full(self, now_s: float) -> bool:
        """While this module can hardly get through, P2 is stretched, a bounded number of times."""
        load, address = self._partner.load, self._partner.address
        if load is None or self._sent_s is None or self._stretched >= _MOST_STRETCHES:
            return False
        self._stretched += 1
        share = load.share_above(address.response_id, self._window_s, now_s, extended=address.extended)
        return share >= _FULL

    def _run_out(self) -> None:
        """The time is over without an answer."""
        partner, waited_s = self._partner, self._clock.now() - self._begun_s
        if self._sent_s is None and partner.lane.sending:
            what = f"{shown(self._request)}: the module did not take it completely in {waited_s:.2f} s"
            self._finish(TransferBroken(what, partner.name))
        elif self._sent_s is None and waited_s < self._settings.onto_bus_s:
            self._finish(LinkBusy(partner.name, self._request))  # the caller's own time was over first
        elif self._sent_s is None:
            what = f"{shown(self._request)} did not get onto the bus in {waited_s:.2f} s"
            self._finish(LinkError(Code.LINK_LOST, what, partner.name))
        elif not expects_answer(self._request, self._protocol):
            self._finish(b"")
        else:
            self._finish(ModuleSilent(partner.name, self._request, waited_s, self.pending))

    def _finish(self, outcome: bytes | AsleftError) -> None:
        if not self._outcome.done():
            self._outcome.set_result(outcome)

    def _leave(self) -> None:
        partner = self._partner
        if self._timer is not None:
            self._timer.cancel()
        partner.waiting = None
        answered = self._outcome.done() and not self._outcome.cancelled() and self._settled(self._outcome.result())
        if not answered:
            partner.lane.forget()
            later_s = self._settings.p2_star_s if self.pending else self._settings.straggler_s
            if self._handed and expects_answer(self._request, self._protocol):
                partner.owe(self._request, self._clock.now() + later_s)

    def _settled(self, outcome: bytes | AsleftError) -> bool:
        return isinstance(outcome, (bytes, ModuleRefused, AnswerMalformed))
