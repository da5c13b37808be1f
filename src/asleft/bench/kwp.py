"""A control module on a K-line: KWP2000 (ISO 14230), fast start, headers with and without addresses.

Example::

    engine = KwpModule("engine", 0x11, identifiers=[text(0x9B, "part", "..."), number(0x05, "coolant", ...)])
    engine.attach_line(KLine(clock), clock)
    engine.power_on()

It is deaf until woken by 25 ms low and 25 ms high and then asked to start communication, and again after P3 max
without a message. Not modelled: 5-baud start, CARB header, 83 (timing parameters).
Source: ISO 14230-2 and -3 (recalled, not checked against the text).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from asleft.ports.clock import Clock

from .answering import Answering
from .identifiers import Identifier
from .kline import KLine, LineNode
from .kwp_frames import Message, Mode, decode
from .kwp_obd import KwpObdService, split
from .kwp_receiver import KwpReceiver
from .kwp_services import (
    STANDARD_SESSION,
    KwpSessionService,
    KwpTroubleService,
    LocalIdentifierService,
    LocalRoutineService,
)
from .memory import Kept, Memory
from .module_state import Content
from .obd import Obd, ObdService
from .power import Power
from .routines import Routine, RoutineState
from .security import SecurityLevel, SecurityService
from .server import PENDING, Server, negative
from .service import Conversation, Later, Service
from .session_timer import SessionTimer
from .sessions import Timing
from .trouble_memory import TroubleCode, TroubleMemory

START, STOP = 0x81, 0x82
OBD_ADDRESS = 0x33
#: EF: length in the format byte or a byte of its own, header with or without addresses, normal timing; 8F fixed.
KEY_BYTES = b"\xef\x8f"
#: Refusals of UDS that KWP2000 has under another number.
_KWP_REFUSALS = {0x13: 0x12, 0x7E: 0x12, 0x7F: 0x80, 0x24: 0x22}


@dataclass(frozen=True)
class KwpTiming(Timing):
    """How fast a module on a K-line is, all s. ``latency_s`` is P2, ``s3_s`` is P3 max.

    Attributes:
        p1_s: between its own bytes, 0 to 20 ms.
        p3_min_s: least time from its answer to the next request; earlier ones are not heard.
        p4_max_s: longest time between a tester's bytes.
        wake_tolerance_s: of the 25 ms low and 25 ms high of the fast start.
    """

    latency_s: float = 0.030
    p1_s: float = 0.0
    p3_min_s: float = 0.055
    p4_max_s: float = 0.020
    wake_tolerance_s: float = 0.001


class KwpModule:
    """One control module on a K-line. Arguments as `ControlModule`, numbers of one byte.

    Args:
        name: unique in the car.
        target: its address on the line.
        sessions: sessions it has.
        functional: addresses it hears besides, with functional mode.
    """

    def __init__(
        self,
        name: str,
        target: int,
        *,
        memory: Memory | None = None,
        identifiers: Iterable[Identifier] = (),
        routines: Iterable[Routine] = (),
        codes: Iterable[TroubleCode] = (),
        security: Iterable[SecurityLevel] = (),
        sessions: frozenset[int] = frozenset({0x81, 0x85, 0x87, 0x89}),
        timing: KwpTiming | None = None,
        obd: Obd | None = None,
        functional: frozenset[int] = frozenset({OBD_ADDRESS}),
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        self.name = name
        self.target = target
        self.memory = memory or Memory()
        self.timing = timing or KwpTiming()
        self.codes = TroubleMemory(codes)
        self.open = False
        seed = zlib.crc32(name.encode())
        self._functional = functional
        self._identifiers = LocalIdentifierService(identifiers, self.memory)
        self._routines = LocalRoutineService(routines)
        self._security = SecurityService(security, seed)
        self._talk = Conversation(
            self._now, session=STANDARD_SESSION, session_changed=self._change_session, restart=self._ask_restart
        )
        inner = ObdService(obd, self.codes) if obd is not None else None
        self._content = Content(self.memory, self.codes, self._security, inner)
        services: list[Service] = [
            KwpSessionService(sessions, KEY_BYTES),
            self._identifiers,
            self._routines,
            KwpTroubleService(self.codes),
            self._security,
        ]
        if inner is not None:
            self.codes.on_failure, self.codes.on_clear = inner.failed, inner.cleared
            services.append(KwpObdService(inner))
        self._server = Server(services, self._talk, busy, quiet=lambda _request: False)
        self._answering = Answering(self._server, self.timing, seed)
        self._session_timer = SessionTimer(self.timing.s3_s, lambda: self._answering.working, self._close)
        self._power = Power(self.timing, lambda: self._security.restarted(self._now()), self._slept)
        self._clock: Clock | None = None
        self._node: LineNode | None = None
        self._receiver = KwpReceiver(self.timing, self._on_message)
        self._refresh: Callable[[], None] = lambda: None
        self._asked: Message = Message(b"\x00")
        self._restarting = False

    # -- host ------------------------------------------------------------------------------------------------------

    def attach_line(self, line: KLine, clock: Clock, refresh: Callable[[], None] = lambda: None) -> None:
        """Join the line; ``refresh`` brings the physics to the present."""
        self._clock = clock
        self._refresh = refresh
        self._power.attach(clock)
        self._receiver.byte_s = line.byte_s
        self._receiver.level_tolerance_s = max(line.level_tolerance_s, self.timing.wake_tolerance_s)
        self._node = line.join(self.name, self._receiver.on_byte, self._on_low)
        self._answering.attach(clock, self._send, self._after_answer)
        self._session_timer.attach(clock)

    def detach(self) -> None:
        """Leave the line and stop all timers."""
        self._power.detach()
        self._answering.stop()
        self._session_timer.stop()
        if self._node is not None:
            self._node.leave()
        self._node = self._clock = None

    def be_slow(self, seconds: float) -> None:
        """Fault: every answer comes so much later."""
        self._answering.extra_latency_s = seconds

    def power_on(self) -> None:
        """Key on."""
        if not self._power.powered:
            self.codes.cycle_start()
            self._power.on()

    def power_off(self) -> None:
        """Key off."""
        if self._power.powered:
            self.codes.cycle_end()
            self._power.off()

    def battery_lost(self) -> None:
        """Battery taken away."""
        self._power.lost()
        self.memory.lose(Kept.BATTERY)

    def poll(self) -> None:
        """Slow work at the car's tick."""
        if self._power.awake:
            self.codes.poll(self._now())
            self._routines.poll(self._now())

    def save(self) -> dict[str, Any]:
        """JSON values; the conversation is not saved."""
        return self._content.save()

    def restore(self, state: Mapping[str, Any], *, powered: bool) -> None:
        """Take over what `save` gave, before it is attached."""
        self._content.restore(state)
        self._power.restore(powered=powered)

    # -- for physics and grading -----------------------------------------------------------------------------------

    @property
    def awake(self) -> bool:
        """Powered and booted."""
        return self._power.awake

    @property
    def session(self) -> int:
        """Active session."""
        return self._talk.session

    def routine_state(self, number: int) -> RoutineState:
        """Where a routine stands. Raises KeyError: unknown."""
        return self._routines.state(number)

    def peek(self, number: int) -> bytes:
        """What 21 or 1A would give now. Raises KeyError: unknown."""
        return self._identifiers.peek(number)

    def handle(self, request: bytes) -> bytes:
        """Answer a request at once, without line and latency; a later answer is given as 78 first."""
        self._refresh()
        try:
            answer = self._server.answer(request, functional=False) or b""
        except Later:
            return negative(request[0], PENDING)
        return _in_kwp(answer)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _now(self) -> float:
        return self._clock.now() if self._clock is not None else 0.0

    def _on_low(self, seconds: float) -> None:
        if self._power.awake:
            self._receiver.woken(seconds, self._now())

    def _on_message(self, whole: bytes, woken: bool) -> None:
        message = decode(whole)
        if message is None or not self._power.awake or not self._mine(message):
            return
        if woken and message.data[0] == START:
            self.open = True
        if not self.open:
            return
        self._asked = message
        self._refresh()
        self._answering.request(message.data, functional=message.mode is Mode.FUNCTIONAL)

    def _mine(self, message: Message) -> bool:
        match message.mode:
            case Mode.NONE:
                return self.open
            case Mode.PHYSICAL:
                return message.target == self.target
            case _:
                return message.target in self._functional

    def _send(self, answer: bytes) -> None:
        if self._node is None or not self._power.awake:
            return
        answer = _in_kwp(answer)
        addressed = self._asked.mode is not Mode.NONE
        mode = Mode.PHYSICAL if addressed else Mode.NONE
        for part in split(answer):
            message = Message(part, mode, self._asked.source if addressed else 0, self.target if addressed else 0)
            self._receiver.own_end_s = self._node.send(message.encode(), self.timing.p1_s)

    def _after_answer(self) -> None:
        if self._restarting:
            self._restarting = False
            self.memory.lose(Kept.POWER)
            self._power.restart()
        elif self._asked.data[0] == STOP:
            self._close()
        else:
            self._session_timer.restart()

    def _close(self) -> None:
        self.open = False
        self._change_session(STANDARD_SESSION)

    def _ask_restart(self, _kind: int) -> None:
        self._restarting = True

    def _slept(self, restarting: bool) -> None:
        self._answering.stop()
        self._session_timer.stop()
        self._close()
        if not restarting:
            self.memory.lose(Kept.POWER)

    def _change_session(self, session: int) -> None:
        if session == STANDARD_SESSION:
            self._routines.stop_all()
        self._talk.session = session
        self._talk.unlocked.clear()


def _in_kwp(answer: bytes) -> bytes:
    """An answer whose refusal, if it is one, has KWP2000's number."""
    return answer[:2] + bytes([_KWP_REFUSALS.get(answer[2], answer[2])]) if answer[:1] == b"\x7f" else answer
