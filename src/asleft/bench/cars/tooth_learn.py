"""Crankshaft tooth-error learn and misfire counting of a petrol engine module.

The module lowers its speed limit and waits: the pedal brings the engine there, the module cuts the fuel, the foot comes
off, and while the engine runs down without combustion it measures. Three such overruns are a learn.
"""

from __future__ import annotations

from statistics import fmean
from struct import pack

from ..identifiers import Identifier, live
from ..memory import Kept, LearnedValue, Memory
from ..obd import MonitorTest
from ..physics.noise import Noise
from ..physics.target_wheel import SEGMENTS, TargetWheel
from ..routines import Routine, RoutineState
from ..service import Condition, refuse_if
from ..trouble_memory import TroubleCode
from .petrol_sizes import ElectronicTrain

LEARN_TEETH, TOOTH_VALUES = 0x5A34, 0x4C32

#: Speed limit while it learns; the run-down that is measured, from and to, 1/min; how many; how long each at least, s.
LIMIT_RPM, FROM_RPM, TO_RPM = 4000.0, 3500.0, 1700.0
PASSES, PASS_S = 3, 0.6
#: Most that overruns may differ, and an error may be, ‰; error left over which misfire is seen that is none, ‰.
SPREAD_PERMILLE, MOST_PERMILLE, BLIND_PERMILLE = 0.35, 2.5, 0.5
#: Share of misfires over which the code is set; turns over which it is judged.
MISFIRE_SHARE, TURNS = 0.02, 1000.0


class ToothLearn:
    """The module's side of the target wheel.

    Attributes: learned: error of each segment, ‰. counts: misfires seen in each cylinder since key-on. share: of the
        last turns.
    """

    CHANGES = ("counts", "turns", "share", "_seen", "_now_s", "_noise")

    def __init__(self, wheel: TargetWheel, train: ElectronicTrain, memory: Memory, seed: int) -> None:
        self.wheel = wheel
        most = MOST_PERMILLE
        self.learned = [
            LearnedValue(memory, f"segment {index}", default=0.0, low=-most, high=most, kept=Kept.LASTING, unit="‰")
            for index in range(SEGMENTS)
        ]
        for value, error in zip(self.learned, wheel.error_permille, strict=True):
            value.learn(error)
        self.counts = [0.0] * SEGMENTS
        self.turns = self.share = self._seen = self._now_s = 0.0
        self._train = train
        self._noise = Noise(seed, "misfire")
        self._passes: list[list[float]] = []
        self._pass_s = 0.0

    def forget(self) -> None:
        """As after a new module."""
        for value in self.learned:
            value.forget()

    def advance(self) -> None:
        """Count misfires, real ones and those that an unlearned wheel makes up, to the engine's present."""
        train = self._train
        passed_s, self._now_s = train.now_s - self._now_s, train.now_s
        if not train.running or train.cut or passed_s <= 0.0:
            return
        turns = train.crank.rpm / 60.0 * passed_s
        real = train.crank.misfire
        for index, (value, error) in enumerate(zip(self.learned, self.wheel.error_permille, strict=True)):
            made_up = min(0.2, 0.08 * max(0.0, abs(error - value.value) - BLIND_PERMILLE))
            mean = 0.5 * turns * (real + made_up)
            seen = max(0.0, mean + (mean**0.5) * 0.3 * self._noise.normal()) if mean > 0.0 else 0.0
            self.counts[index] += seen
            self._seen += seen
        self.turns += turns
        if self.turns >= TURNS:
            self.share = self._seen / (2.0 * self.turns)
            self.turns = self._seen = 0.0

    # -- the learn -------------------------------------------------------------------------------------------------

    def routine(self, conditions: tuple[Condition, ...]) -> Routine:
        """The learn, with what the module asks of the car at the start and while it runs."""
        train = self._train

        def begin(_option: bytes) -> None:
            self._passes, self._pass_s = [], 0.0
            train.top_rpm = LIMIT_RPM

        def stop() -> None:
            train.top_rpm = train.TOP_RPM

        def end() -> RoutineState:
            stop()
            return RoutineState.REFUSED

        return Routine(
            LEARN_TEETH, "crankshaft tooth errors: raise the speed to the cut, let go, three times",
            start_conditions=(
                refuse_if(lambda: not train.running, 0x84), refuse_if(lambda: train.run_s < 30.0, 0x85),
                refuse_if(lambda: train.temperatures.sensed_c < 70.0, 0x87), *conditions,
                refuse_if(lambda: self.share > MISFIRE_SHARE and all(v.learned for v in self.learned), 0x22),
            ),
            keep_conditions=(refuse_if(lambda: not train.running, 0x84), *conditions),
            on_start=begin, on_poll=self._poll, on_stop=stop, takes_s=90.0, on_end=end,
            result=lambda: bytes([len(self._passes)]),
        )  # fmt: skip

    def _poll(self) -> RoutineState | None:
        train = self._train
        rpm = train.crank.rpm
        if train.cut and train.pedal < 0.02 and TO_RPM < rpm < FROM_RPM:
            self._pass_s += 0.1
            return None
        if self._pass_s >= PASS_S - 1e-9:
            self._passes.append(self.wheel.overrun())
        self._pass_s = 0.0
        return self._judge() if len(self._passes) >= PASSES else None

    def _judge(self) -> RoutineState:
        self._train.top_rpm = self._train.TOP_RPM
        columns = list(zip(*self._passes, strict=True))
        if any(max(column) - min(column) > SPREAD_PERMILLE for column in columns):
            return RoutineState.REFUSED
        means = [fmean(column) for column in columns]
        if any(abs(mean) > MOST_PERMILLE for mean in means):
            return RoutineState.REFUSED
        stored = [value.learn(mean) for value, mean in zip(self.learned, means, strict=True)]
        return RoutineState.STORED if all(stored) else RoutineState.REFUSED

    # -- told ------------------------------------------------------------------------------------------------------

    def identifier(self) -> Identifier:
        """Learned errors."""
        return live(
            TOOTH_VALUES,
            "learned segment errors 0.01 ‰ signed, four, learned 0 or 1",
            lambda: pack(">4hB", *(round(v.value * 100.0) for v in self.learned), self.learned[0].learned),
        )

    def tests(self) -> tuple[MonitorTest, ...]:
        """Misfire counts of this cycle, service 06: monitors A2 to A5, test 0C, counts (numbers recalled)."""
        return tuple(
            MonitorTest(0xA2 + index, 0x0C, 0x24, lambda index=index: min(65535, round(self.counts[index])), 0, 65535)
            for index in range(SEGMENTS)
        )

    def codes(self) -> list[TroubleCode]:
        """Not learned; misfire."""
        train = self._train

        def misfire() -> bool | None:
            return self.share > MISFIRE_SHARE if train.running and train.run_s > 20.0 else None

        def unlearned() -> bool:
            return not self.learned[0].learned

        return [
            TroubleCode(0x031500, "tooth errors not learned", unlearned, lamp=True, emission=True),
            TroubleCode(0x030000, "misfire", misfire, fail_s=2.0, trips=2, lamp=True, emission=True),
        ]
