"""A generic control module on a bench bus: one server for UDS and OBD, configured by data and callables.

Example::

    memory = Memory()
    engine = ControlModule(
        "engine",
        Address.normal(0x7E0, 0x7E8),
        memory=memory,
        identifiers=[text(0xF190, "VIN", vin), live(0x0123, "plate", plate_bytes)],
        routines=[Routine(0x0201, "lower-stop learn", ...)],
        codes=[TroubleCode(0x217600, "idle position not learned", lambda: not stop.learned)],
        obd=Obd(values={0x0C: lambda: physics.rpm}),
    )

The module is silent until `power_on` and its boot time; `poll` runs its slow work (codes, routines), called by the
car's tick; the callables are only called after the car's physics was brought to the present.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from asleft.ports.bus import Bus
from asleft.ports.clock import Clock

from .address import Address
from .answering import Answering
from .broadcast import Broadcast, Broadcaster
from .identifiers import Identifier, IdentifierService
from .memory import Kept, Memory
from .module_state import Content
from .obd import Obd, ObdService
from .power import Power
from .routines import Routine, RoutineService, RoutineState
from .security import SecurityLevel, SecurityService
from .server import PENDING, Server, negative
from .service import Condition, Conversation, Later, Service
from .session_timer import SessionTimer
from .sessions import DEFAULT_SESSION, Sessions, SessionService, Timing
from .transport import IsoTpNode, TransportSettings
from .trouble_memory import TroubleCode, TroubleMemory
from .trouble_service import TroubleService

__all__ = ["Address", "Broadcast", "ControlModule", "Sessions", "Timing"]


class ControlModule:
    """One control module.

    Args:
        name: unique in the car.
        address: where it hears and answers.
        memory: what it remembers; one is made when None.
        identifiers, routines, codes, security, sessions, obd, broadcasts: its content.
        snapshot: identifiers stored in a code's freeze frame (19 04).
        timing: how fast it is.
        busy: while this gives True every request is answered with 21.
        clear_conditions: looked at before 14.
        services: further services; they win over the built-in ones of the same identifier.
        without: service identifiers it does not have (answers 11), as ``{0x27, 0x2F}``.
    """

    def __init__(
        self,
        name: str,
        address: Address,
        *,
        memory: Memory | None = None,
        identifiers: Iterable[Identifier] = (),
        routines: Iterable[Routine] = (),
        codes: Iterable[TroubleCode] = (),
        snapshot: tuple[int, ...] = (),
        security: Iterable[SecurityLevel] = (),
        sessions: Sessions | None = None,
        timing: Timing | None = None,
        obd: Obd | None = None,
        broadcasts: Iterable[Broadcast] = (),
        busy: Callable[[], bool] = lambda: False,
        clear_conditions: tuple[Condition, ...] = (),
        services: Iterable[Service] = (),
        without: frozenset[int] = frozenset(),
    ) -> None:
        self.name = name
        self.address = address
        self.memory = memory or Memory()
        self.timing = timing or Timing()
        self._seed = zlib.crc32(name.encode())
        self._snapshot = snapshot
        self._identifiers = IdentifierService(identifiers, self.memory)
        self._routines = RoutineService(routines)
        self.codes = TroubleMemory(codes, self._freeze_frame if snapshot else None)
        self._security = SecurityService(security, self._seed)
        self._obd = ObdService(obd, self.codes) if obd is not None else None
        self._content = Content(self.memory, self.codes, self._security, self._obd)
        self._talk = Conversation(self._now, session_changed=self._change_session, restart=self._ask_restart)
        self._busy_until_s = -1.0
        own = self._services(sessions or Sessions(), clear_conditions, services)
        self._server = Server(own, self._talk, lambda: busy() or self._now() < self._busy_until_s, without)
        self._answering = Answering(self._server, self.timing, self._seed)
        self._channels: list[Answering] = [self._answering]
        self._session_timer = SessionTimer(self.timing.s3_s, self._working, self._session_over)
        self._broadcaster = Broadcaster(broadcasts, self._send_broadcast)
        self._clock: Clock | None = None
        self._node: IsoTpNode | None = None
        self._refresh: Callable[[], None] = lambda: None
        self._power = Power(self.timing, self._woke, self._slept)
        self._restart_kind: int | None = None
        if self._obd is not None:
            self.codes.on_failure = self._obd.failed
            self.codes.on_clear = self._obd.cleared

    def _services(
        self, sessions: Sessions, clear_conditions: tuple[Condition, ...], more: Iterable[Service]
    ) -> list[Service]:
        own: list[Service] = [
            SessionService(sessions, self.timing),
            self._identifiers,
            self._routines,
            TroubleService(self.codes, clear_conditions),
            self._security,
        ]
        return [*own, *([self._obd] if self._obd is not None else []), *more]

    # -- host: called by CarBase -----------------------------------------------------------------------------------

    def attach(self, bus: Bus, clock: Clock, refresh: Callable[[], None] = lambda: None) -> None:
        """Join the bus; ``refresh`` brings the physics to the present and is called before values are read."""
        self._clock = clock
        self._power.attach(clock)
        self._refresh = refresh
        where = self.address
        settings = TransportSettings(
            where.request,
            where.response,
            where.extended,
            where.functional,
            self.timing.stmin,
            self.timing.block_size,
            where.padding,
        )
        self._node = IsoTpNode(bus, clock, settings, self._on_request, name=self.name, hears=lambda: self._power.awake)
        self._answering.attach(clock, self._send, self._after_answer)
        self._session_timer.attach(clock)
        if self._power.awake:
            self._broadcaster.start(clock)

    def detach(self) -> None:
        """Leave the bus and stop all timers."""
        self._power.detach()
        self._stop_answering()
        self._broadcaster.stop()
        if self._node is not None:
            self._node.leave()
        self._node = None
        self._clock = None

    def open_channel(self, send: Callable[[bytes], None]) -> Answering:
        """Another way to the same server, besides CAN: give requests to it; ``send`` takes the answers.

        The module must be attached. Close it with `close_channel`.
        """
        channel = Answering(self._server, self.timing, self._seed)
        if self._clock is not None:
            channel.attach(self._clock, send, self._after_answer)
        self._channels.append(channel)
        return channel

    def close_channel(self, channel: Answering) -> None:
        """Nobody listens there any more."""
        channel.stop()
        self._channels.remove(channel)

    def bring_to_now(self) -> None:
        """Bring the physics to the present, before a request is given to a channel."""
        self._refresh()

    def be_busy(self, seconds: float) -> None:
        """Fault: every request is refused with 21 for so long."""
        self._busy_until_s = self._now() + seconds

    def be_slow(self, seconds: float) -> None:
        """Fault: every answer comes so much later."""
        for channel in self._channels:
            channel.extra_latency_s = seconds

    def ask_flow(self, stmin: int, block_size: int) -> None:
        """Fault: flow control frames ask for this separation time (raw byte) and block size from now on."""
        if self._node is not None:
            self._node.ask_flow(stmin, block_size)

    def power_on(self) -> None:
        """Key on: boots (silent for ``boot_s``), a new operation cycle begins."""
        if not self._power.powered:
            self.codes.cycle_start()
            self._power.on()

    def power_off(self) -> None:
        """Key off: the operation cycle ends; silent after ``after_run_s``, then power memory is lost."""
        if self._power.powered:
            self.codes.cycle_end()
            self._power.off()

    def battery_lost(self) -> None:
        """Battery taken away: asleep at once, battery memory is lost."""
        self._power.lost()
        self.memory.lose(Kept.BATTERY)

    def poll(self) -> None:
        """Slow work at the car's tick: trouble codes, moving routines. Nothing while asleep."""
        if self._power.awake:
            self.codes.storing = self._talk.code_setting
            self.codes.poll(self._now())
            self._routines.poll(self._now())

    def save(self) -> dict[str, Any]:
        """Memory, codes, counters as JSON values; the conversation is not saved (default session after)."""
        return self._content.save()

    def restore(self, state: Mapping[str, Any], *, powered: bool) -> None:
        """Take over what `save` gave, before it is attached; powered, it is awake at once."""
        self._content.restore(state)
        self._power.restore(powered=powered)

    # -- for the physics and for grading ---------------------------------------------------------------------------

    @property
    def awake(self) -> bool:
        """Powered (or in after-run) and booted: it answers."""
        return self._power.awake

    @property
    def session(self) -> int:
        """Active session."""
        return self._talk.session

    def routine_state(self, rid: int) -> RoutineState:
        """Where a routine stands. Raises KeyError: unknown."""
        return self._routines.state(rid)

    def peek(self, did: int) -> bytes:
        """What 22 would give now, for grading; raises KeyError when the identifier is unknown."""
        return self._identifiers.peek(did)

    def writes(self, did: int) -> int:
        """How often a stored identifier was written."""
        return self._identifiers.writes(did)

    def handle(self, request: bytes, *, functional: bool = False) -> bytes | None:
        """Answer a request at once, without a bus and without latency; a later answer is given as 78 first."""
        self._refresh()
        try:
            answer = self._server.answer(request, functional=functional)
        except Later:
            return negative(request[0], PENDING)
        self._after_answer()
        return answer

    # -- inside ----------------------------------------------------------------------------------------------------

    def _now(self) -> float:
        return self._clock.now() if self._clock is not None else 0.0

    def _on_request(self, request: bytes, functional: bool) -> None:
        if self._power.awake and request:
            self._refresh()
            self._answering.request(request, functional=functional)

    def _working(self) -> bool:
        return any(channel.working for channel in self._channels)

    def _stop_answering(self) -> None:
        self._session_timer.stop()
        for channel in self._channels:
            channel.stop()

    def _send(self, answer: bytes) -> None:
        if self._node is not None and self._power.awake:
            self._node.send(answer)

    def _send_broadcast(self, broadcast: Broadcast) -> None:
        if self._node is not None and self._talk.normal_sending:
            self._refresh()
            self._node.node.send(broadcast.frame())

    def _after_answer(self) -> None:
        """After an answer has gone: the restart that 11 asked for, and the session's time."""
        if self._restart_kind is not None:
            kind, self._restart_kind = self._restart_kind, None
            self._restart(kind)
        elif self._talk.session != DEFAULT_SESSION:
            self._session_timer.restart()

    def _ask_restart(self, kind: int) -> None:
        self._restart_kind = kind

    def _restart(self, kind: int) -> None:
        if kind in {0x01, 0x02}:
            self.memory.lose(Kept.POWER)
            self.codes.cycle_end()
            self.codes.cycle_start()
        self._power.restart()

    def _woke(self) -> None:
        self._security.restarted(self._now())
        if self._clock is not None:
            self._broadcaster.start(self._clock)

    def _slept(self, restarting: bool) -> None:
        self._stop_answering()
        self._broadcaster.stop()
        if not restarting:
            self.memory.lose(Kept.POWER)
            if self._node is not None:
                self._node.stop()
        self._change_session(DEFAULT_SESSION)

    def _session_over(self) -> None:
        if self._talk.session != DEFAULT_SESSION:
            self._change_session(DEFAULT_SESSION)

    def _change_session(self, session: int) -> None:
        talk = self._talk
        if session == DEFAULT_SESSION:
            self._routines.stop_all()
            talk.code_setting = True
            talk.normal_sending = True
        talk.session = session
        talk.unlocked.clear()

    def _freeze_frame(self) -> bytes:
        parts = [did.to_bytes(2, "big") + self._identifiers.peek(did) for did in self._snapshot]
        return bytes([len(parts)]) + b"".join(parts)
