"""Diagnostic sessions that are open: kept alive by tester present, and closed whatever happens.

Source: ISO 14229-2, session layer timing (S3); ISO 14229-1, services 10 and 3E (recalled).
"""

from __future__ import annotations

from collections.abc import Callable

from asleft.codec.answer import AnswerMalformed
from asleft.codec.kwp import session as kwp_session
from asleft.codec.refusal import Protocol
from asleft.codec.uds import keep_alive, session
from asleft.model.errors import LinkError
from asleft.ports.clock import Clock, Timer

from .partner import Partner
from .settings import TalkSettings, Timing

#: Bounds of what a module may say of its own times, s: a module that asks for more is not believed.
_P2_MOST_S = 5.0
_P2_STAR_MOST_S = 30.0
_SUPPRESS = 0x80


class Sessions:
    """Who has a session open on a link.

    Args:
        clock: of the link.
        settings: the rhythm of tester present.
        may_send: looked at before tester present; False while nothing may go out.
        protocol: language of the modules.
    """

    def __init__(
        self, clock: Clock, settings: TalkSettings, may_send: Callable[[], bool], protocol: Protocol = Protocol.UDS
    ) -> None:
        kwp = protocol is Protocol.KWP2000
        self.default = kwp_session.STANDARD if kwp else session.DEFAULT
        self._alive = kwp_session.keep_alive_request(quiet=True) if kwp else keep_alive.make_request(quiet=True)
        self._suppress = 0 if kwp else _SUPPRESS
        self._clock = clock
        self._settings = settings
        self._may_send = may_send
        self._open: dict[int, Partner] = {}
        self._timer: Timer | None = None

    @property
    def open(self) -> tuple[Partner, ...]:
        """Modules that may be in another session than the default one."""
        return tuple(self._open.values())

    def requested(self, partner: Partner, request: bytes) -> None:
        """A session is being asked for: from now on it may be open, even when the answer is lost."""
        if request[:1] == b"\x10" and len(request) > 1 and request[1] & ~self._suppress != self.default:
            partner.session = request[1] & ~self._suppress
            self._open[id(partner)] = partner
            self._arm()

    def answered(self, partner: Partner, request: bytes, answer: bytes) -> None:
        """What a positive answer says about the session: its times, or that it has ended."""
        if request[:1] == b"\x11" or (request[:1] == b"\x10" and request[1] & ~self._suppress == self.default):
            self.closed(partner)
        elif request[:1] == b"\x10":
            self._take_times(partner, answer)

    def closed(self, partner: Partner) -> None:
        """It is in its default session, or cannot be reached any more."""
        partner.session = None
        partner.timing = Timing(self._settings.p2_s, self._settings.p2_star_s)
        self._open.pop(id(partner), None)
        if not self._open and self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def stop(self) -> None:
        """No tester present any more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _take_times(self, partner: Partner, answer: bytes) -> None:
        if len(answer) < 2:
            return
        try:
            granted = session.read_answer(answer, answer[1])
        except AnswerMalformed:
            return  # a short form without times, as older modules give it: the defaults stay
        if 0 < granted.p2_s <= _P2_MOST_S and 0 < granted.p2_star_s <= _P2_STAR_MOST_S:
            partner.timing = Timing(
                max(granted.p2_s, self._settings.p2_s), max(granted.p2_star_s, self._settings.p2_star_s)
            )

    def _arm(self) -> None:
        if self._timer is None and self._open:
            self._timer = self._clock.call_at(self._clock.now() + self._settings.keep_alive_s / 2, self._beat)

    def _beat(self) -> None:
        self._timer = None
        if self._may_send():
            for partner in self.open:
                self._keep_alive(partner)
        self._arm()

    def _keep_alive(self, partner: Partner) -> None:
        """Tester present without answer, unless the module was spoken to lately or is being spoken to."""
        quiet_s = self._clock.now() - partner.last_sent_s
        if partner.waiting is not None or partner.lane.busy or quiet_s < self._settings.keep_alive_s * 0.75:
            return
        try:
            partner.last_sent_s = self._clock.now()
            partner.lane.send(self._alive)
        except LinkError:
            self.stop()  # whoever asks next hears of it
