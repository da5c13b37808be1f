"""Automatic gearbox of the estate: stationary learn of all clutches, learn on the road, what speeds and times show.

The stationary learn waits for the selector: R, then D, foot brake held; then it walks the upshift clutches by itself.
On the road every upshift with a light foot and warm oil brings its clutch nearer. Identifiers are inventions.
"""

from __future__ import annotations

from math import pi
from struct import pack

from ..identifiers import live
from ..memory import Kept, LearnedValue, Memory
from ..module import ControlModule
from ..physics.clutches import ELEMENTS, Clutches
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench
from .petrol_side import EngineSide

STATE, SPEEDS, FILLS, TIMES = 0x4E41, 0x4E42, 0x4E43, 0x4E44
WALK, FORGET = 0x5C41, 0x5C42

#: What a clutch may want; a foot lighter than this teaches; oil in which is learned, °C; walked for so long each, s.
FILL_LOW, FILL_HIGH = 0.65, 1.35
LIGHT_FOOT = 0.35
OIL_C = (65.0, 110.0)
WALK_S = 2.0
#: Spread of the idle over which a fill cannot be measured, 1/min.
UNSTEADY_RPM = 60.0


class GearboxLearn:
    """The module's side of the clutches.

    Attributes: walking: the stationary learn runs. done, tried: elements learned and measured in it, as bits. waits_s:
        in D. road: upshifts that taught, each.
    """

    CHANGES = ("walking", "done", "tried", "waits_s", "road", "worst_rpm", "_seen")

    def __init__(self, clutches: Clutches, fills: list[LearnedValue]) -> None:
        self.clutches = clutches
        self.fills = fills
        self.walking = False
        self.done = self.tried = 0
        self.waits_s = self.worst_rpm = 0.0
        self.road = [0] * len(ELEMENTS)
        self._seen = [0] * len(ELEMENTS)

    def learn_long_ago(self) -> None:
        """As the years have taught."""
        for element, fill in enumerate(self.fills):
            fill.learn(self.clutches.needs[element])

    def begin(self, _option: bytes) -> None:
        """Start of the walk."""
        self.walking, self.waits_s, self.worst_rpm = True, 0.0, 0.0
        self.done = self.tried = 0
        self._seen = list(self.clutches.count)

    def walk(self, dt_s: float, selector: str, error_rpm: float) -> RoutineState | None:
        """One look: which clutch can be measured now; None: not all yet."""
        counts, clutches = self.clutches.count, self.clutches
        self.worst_rpm = max(0.98 * self.worst_rpm, abs(error_rpm) if clutches.since_s > 3.0 else 0.0)
        unsteady = max(0.0, self.worst_rpm - 40.0) / 400.0
        for element in (1, 0):
            settled = clutches.element == element and clutches.since_s > 1.5
            if counts[element] > self._seen[element] and settled and not self.tried & 1 << element:
                self._take(element, unsteady)
        if self.tried & 3 == 3 and selector == "D":
            self.waits_s += dt_s
            element = 2 + int(self.waits_s / WALK_S)
            if element < len(ELEMENTS) and not self.tried & 1 << element and self.waits_s % WALK_S > 0.5 * WALK_S:
                self._take(element, unsteady)
        if self.tried != (1 << len(ELEMENTS)) - 1:
            return None
        self.walking = False
        return RoutineState.STORED if self.done == self.tried else RoutineState.REFUSED

    def drive(self, foot: float, oil_c: float) -> None:
        """On the road: what the last upshift taught."""
        if self.walking or self._seen == self.clutches.count:
            return
        for element, count in enumerate(self.clutches.count):
            if count == self._seen[element]:
                continue
            if element >= 2 and foot < LIGHT_FOOT and OIL_C[0] <= oil_c <= OIL_C[1]:
                fill = self.fills[element]
                measured = min(FILL_HIGH, max(FILL_LOW, self.clutches.measured(element)))
                fill.learn(fill.value + 0.5 * (measured - fill.value))
                self.road[element] += 1
        self._seen = list(self.clutches.count)

    def forget(self) -> None:
        """Back to the factory's values."""
        for fill in self.fills:
            fill.forget()
        self.road = [0] * len(ELEMENTS)

    def _take(self, element: int, unsteady: float) -> None:
        """Measure one clutch, once; an unsteady idle or a fill out of limits leaves it unlearned."""
        self.tried |= 1 << element
        steady = self.worst_rpm <= UNSTEADY_RPM
        if steady and self.fills[element].learn(self.clutches.measured(element, unsteady)):
            self.done |= 1 << element


def make_fills(memory: Memory) -> list[LearnedValue]:
    """Learned fills in the module's memory."""
    low, high = FILL_LOW, FILL_HIGH
    return [
        LearnedValue(memory, f"fill {name}", default=1.0, low=low, high=high, kept=Kept.LASTING) for name in ELEMENTS
    ]


def transmission(bench: Workbench, engine: EngineSide, learn: GearboxLearn, memory: Memory) -> ControlModule:
    """The module."""
    side = bench.side
    drive, clutches, train = side.chassis.drive, learn.clutches, engine.powertrain

    def state() -> bytes:
        oil = min(255, max(0, round(side.oil_c + 40.0)))
        return bytes([oil, "PRND".index(drive.selector), drive.gear + 1, learn.done, learn.walking])

    def speeds() -> bytes:
        output = abs(drive.speed_m_s) / drive.spec.wheel_m * drive.spec.final * 30.0 / pi
        return pack(">HH", min(65535, round(drive.turbine_rpm)), min(65535, round(output)))

    def fills() -> bytes:
        return b"".join(pack(">HBB", round(f.value * 1e3), f.learned, min(255, r)) for f, r in zip(
            learn.fills, learn.road, strict=True
        ))  # fmt: skip

    def times() -> bytes:
        return pack(f">{len(ELEMENTS)}H", *(round(t * 1e3) for t in clutches.times_s))

    def watch() -> RoutineState | None:
        return learn.walk(0.1, drive.selector, train.crank.rpm - train.idle.target_rpm)

    def break_off() -> None:
        learn.walking = False

    def end_walk() -> RoutineState:
        break_off()
        return RoutineState.REFUSED

    def forgotten() -> RoutineState:
        learn.forget()
        return RoutineState.STORED

    oil = (refuse_if(lambda: side.oil_c < OIL_C[0], 0x87), refuse_if(lambda: side.oil_c > OIL_C[1], 0x86))
    held = (
        refuse_if(lambda: not side.running(), 0x84),
        refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
        refuse_if(lambda: drive.brake <= 0.0, 0x8F),
        refuse_if(lambda: train.pedal > 0.03, 0x8A),
    )
    code = bench.code_of("transmission")
    return bench.module(
        "transmission",
        memory=memory,
        identifiers=[
            live(STATE, "oil °C + 40; selector 0 P 1 R 2 N 3 D; gear; elements learned, bits; walking 0 or 1", state),
            live(SPEEDS, "turbine 1/min, output 1/min", speeds),
            live(FILLS, "each element: learned fill 0.001, learned 0 or 1, upshifts that taught", fills),
            live(TIMES, "each element: from asking to gripping, last time, ms", times),
        ],
        routines=[
            Routine(
                WALK,
                "stationary learn: selector P, R, D on the brake, then by itself",
                start_conditions=(held[0], *oil, *held[1:], refuse_if(lambda: drive.selector != "P", 0x90)),
                keep_conditions=(*held, *oil),
                on_start=learn.begin,
                on_poll=watch,
                on_stop=break_off,
                takes_s=60.0,
                on_end=end_walk,
                result=lambda: bytes([learn.done]),
            ),
            Routine(
                FORGET,
                "fills back to the factory's",
                start_conditions=(refuse_if(lambda: drive.selector not in {"P", "N"}, 0x90), *bench.standing()[1:]),
                on_end=forgotten,
            ),
        ],
        codes=[
            TroubleCode(code << 8 | 0x54, "clutch fills not learned", lambda: not all(f.learned for f in learn.fills)),
            TroubleCode(
                (code + 1) << 8 | 0x62,
                "engagement takes too long",
                lambda: max(clutches.times_s) > 1.35,
                lamp=True,
            ),
        ],
    )
