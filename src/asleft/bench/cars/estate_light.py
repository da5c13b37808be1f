"""Headlamp levelling of the estate: it turns the lamps against the body's pitch, from a zero that it must have learned.

The beam is read with an optical tester in front of the car, which no bus knows. Identifiers are inventions.
"""

from __future__ import annotations

from ..identifiers import live
from ..memory import Kept, LearnedValue, Memory
from ..module import ControlModule
from ..physics.beam import MOTOR_DEG, Beam, pitch_of
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench, learned_bytes, signed
from .estate_side import ChassisSide

PITCH, PITCH_ZERO, ZERO_BEAM, SWING_BEAM = 0x3D5A, 0x3D5B, 0x7E21, 0x7E22


class Levelling:
    """The module's side of the lamps. ``swing`` is a test movement under way, -1, 0 or 1."""

    CHANGES = ("beam", "swing", "lit")

    def __init__(self, beam: Beam, side: ChassisSide, memory: Memory) -> None:
        self.beam = beam
        self.zero = LearnedValue(memory, "pitch zero", default=0.0, low=-1.6, high=1.6, kept=Kept.LASTING, unit="°")
        self.swing = 0
        self.lit = False
        self._side = side

    def measured_deg(self) -> float:
        """Pitch as the height sensors show it, offsets and all."""
        height = self._side.chassis.height
        return pitch_of([height.read(corner) for corner in range(4)])

    def true_deg(self) -> float:
        """Pitch of the body against the floor."""
        return pitch_of(self._side.chassis.height.true_mm)

    def advance(self) -> None:
        """Motors follow; they need less than a tick. Without a zero they stay in the middle."""
        if not self._side.key_on():
            return
        against = -(self.measured_deg() - self.zero.value) if self.zero.learned else 0.0
        self.beam.motor_deg = max(-MOTOR_DEG, min(MOTOR_DEG, against + 0.8 * self.swing))

    def percent(self, lamp: int) -> float:
        """Fall of a beam, %, against the floor that the car stands on."""
        return self.beam.percent(lamp, self.true_deg())


def headlamp_levelling(bench: Workbench, level: Levelling, memory: Memory) -> ControlModule:
    """The module."""
    side = bench.side
    before: list[float] = []

    def begin(_option: bytes) -> None:
        before[:] = [level.measured_deg()]

    def end() -> RoutineState:
        settled = abs(level.measured_deg() - before[0]) < 0.05
        return RoutineState.STORED if settled and level.zero.learn(level.measured_deg()) else RoutineState.REFUSED

    def swing(way: int) -> RoutineState:
        level.swing = way
        return RoutineState.STORED

    heights = side.zeros.heights
    conditions = (
        refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
        refuse_if(lambda: not level.lit, 0x22),
        refuse_if(lambda: not all(zero.learned for zero in heights), 0x22),
        bench.supply(11.8),
    )
    return bench.module(
        "headlamp levelling",
        memory=memory,
        identifiers=[
            live(PITCH, "pitch by the height sensors: 0.01 °", signed(level.measured_deg, 0.01)),
            live(PITCH_ZERO, "learned zero of the pitch: 0.01 °, with limits", learned_bytes(level.zero, 0.01)),
        ],
        routines=[
            Routine(
                ZERO_BEAM, "zero of the pitch", start_conditions=conditions, on_start=begin, takes_s=4.0, on_end=end
            ),
            Routine(
                SWING_BEAM,
                "lamps up for two seconds",
                start_conditions=conditions,
                on_start=lambda _option: (swing(1), None)[1],
                on_stop=lambda: (swing(0), None)[1],
                takes_s=2.0,
                on_end=lambda: swing(0),
            ),
        ],
        codes=[
            TroubleCode(bench.code_of("headlamp levelling") << 8 | 0x54, "pitch zero not learned", lambda: (
                not level.zero.learned
            )),
        ],
    )  # fmt: skip
