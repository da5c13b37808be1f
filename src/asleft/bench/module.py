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

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from asleft.ports.bus import Bus
from asleft.ports.clock import Clock

from .identifiers import Identifier
from .memory import Memory
from .obd import Obd
from .routines import Routine, RoutineState
from .security import SecurityLevel
from .service import Condition, Service
from .trouble_memory import TroubleCode, TroubleMemory


@dataclass(frozen=True)
class Address:
    """Where a module hears and answers on CAN.

    Attributes:
        request: identifier of physical requests.
        response: identifier of its answers.
        extended: 29-bit identifiers.
        functional: identifiers of functional requests it hears.
    """

    request: int
    response: int
    extended: bool = False
    functional: tuple[int, ...] = (0x7DF,)

    @classmethod
    def normal(cls, request: int, response: int, functional: tuple[int, ...] = (0x7DF,)) -> Address:
        """11-bit pair, as 7E0 / 7E8."""
        return cls(request, response, False, functional)  # noqa: FBT003

    @classmethod
    def fixed(cls, target: int, tester: int = 0xF1) -> Address:
        """29-bit normal fixed pair: 18DA<target><tester> and back; functional 18DB33<tester>."""
        return cls(
            0x18DA0000 | target << 8 | tester,
            0x18DA0000 | tester << 8 | target,
            extended=True,
            functional=(0x18DB3300 | tester,),
        )


@dataclass(frozen=True)
class Timing:
    """How fast a module is, all s.

    Attributes:
        latency_s: from the end of a request to the start of the answer.
        jitter_s: added to it, evenly spread from 0 to this, seeded by the module's name.
        p2_s, p2_star_s: limits it tells in the answer to 10 and keeps.
        s3_s: session falls back to default after this long without a request.
        boot_s: silent after power-on and after 11.
        after_run_s: still answers this long after power-off.
        stmin, block_size: of its flow control frames (raw byte, frames).
    """

    latency_s: float = 0.005
    jitter_s: float = 0.0
    p2_s: float = 0.050
    p2_star_s: float = 5.0
    s3_s: float = 5.0
    boot_s: float = 0.3
    after_run_s: float = 0.0
    stmin: int = 0
    block_size: int = 8


@dataclass(frozen=True)
class Broadcast:
    """A cyclic frame the module sends while awake: identifier, period in s, and its data at the moment of sending."""

    id: int
    period_s: float
    data: Callable[[], bytes]
    extended: bool = False


@dataclass(frozen=True)
class Sessions:
    """Sessions a module has and what it asks before it changes into one.

    Attributes:
        supported: session numbers (01 default, 02 programming, 03 extended, others by maker).
        conditions: session -> conditions looked at before entering.
        reset_conditions: looked at before 11.
    """

    supported: frozenset[int] = frozenset({0x01, 0x02, 0x03})
    conditions: Mapping[int, tuple[Condition, ...]] = field(default_factory=dict[int, tuple[Condition, ...]])
    reset_conditions: tuple[Condition, ...] = ()


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
        clear_conditions: looked at before 14 and 04.
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
        self.codes: TroubleMemory = TroubleMemory(codes)
        raise NotImplementedError

    # -- host: called by CarBase -----------------------------------------------------------------------------------

    def attach(self, bus: Bus, clock: Clock, refresh: Callable[[], None] = lambda: None) -> None:
        """Join the bus; ``refresh`` brings the physics to the present and is called before values are read."""
        raise NotImplementedError

    def detach(self) -> None:
        """Leave the bus and stop all timers."""
        raise NotImplementedError

    def power_on(self) -> None:
        """Key on: boots (silent for ``boot_s``), a new operation cycle begins."""
        raise NotImplementedError

    def power_off(self) -> None:
        """Key off: the operation cycle ends; silent after ``after_run_s``; power memory is lost."""
        raise NotImplementedError

    def battery_lost(self) -> None:
        """Battery taken away (power is off): battery memory is lost."""
        raise NotImplementedError

    def poll(self) -> None:
        """Slow work at the car's tick: trouble codes, moving routines."""
        raise NotImplementedError

    def save(self) -> dict[str, Any]:
        """Memory, codes, counters as JSON values; the conversation is not saved (default session after)."""
        raise NotImplementedError

    def restore(self, state: Mapping[str, Any], *, powered: bool) -> None:
        """Take over what `save` gave, before it is attached."""
        raise NotImplementedError

    # -- for the physics and for grading ---------------------------------------------------------------------------

    @property
    def awake(self) -> bool:
        """Powered (or in after-run) and booted: it answers."""
        raise NotImplementedError

    @property
    def session(self) -> int:
        """Active session."""
        raise NotImplementedError

    def routine_state(self, rid: int) -> RoutineState:
        """Where a routine stands."""
        raise NotImplementedError

    def peek(self, did: int) -> bytes:
        """What 22 would give now, for grading; raises KeyError when the identifier is unknown."""
        raise NotImplementedError

    def handle(self, request: bytes, *, functional: bool = False) -> bytes | None:
        """Answer a request at once, without a bus and without latency; a later answer is given as 78 first."""
        raise NotImplementedError
