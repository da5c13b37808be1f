"""Pedal rest learn of an engine module with an electronic throttle: what it believes of the foot."""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean, pstdev
from struct import pack

from ..identifiers import Identifier, live
from ..memory import Kept, LearnedValue, Memory
from ..physics.pedal import SHARE_E, SPAN_PCT, PedalUnit
from ..routines import Routine, RoutineState
from ..service import Condition
from ..trouble_memory import TroubleCode
from .petrol_sizes import ElectronicTrain

LEARN_PEDAL, PEDAL_VALUE = 0x5A33, 0x4C31

#: Window of a rest, %; most that E may differ from its share of D, and that D may scatter while it is learned, %.
WINDOW_PCT = (12.0, 19.0)
UNLIKE_PCT, STILL_PCT = 1.0, 0.25


class PedalRest:
    """The module's side of the pedal unit. ``rest`` is what it has learned for sensor D."""

    def __init__(self, unit: PedalUnit, train: ElectronicTrain, memory: Memory) -> None:
        low, high = WINDOW_PCT
        self.unit = unit
        self.rest = LearnedValue(memory, "pedal rest", default=15.5, low=low, high=high, kept=Kept.LASTING, unit="%")
        self.rest.learn(unit.rest_pct)
        self._train = train
        self._d: list[float] = []
        self._e: list[float] = []

    def settle(self) -> None:
        """Tell the engine what the module now takes for the foot."""
        self._train.pedal_shift = (self.unit.rests_at - self.rest.value) / SPAN_PCT

    def relative_pct(self) -> float:
        """Pedal from the learned rest, % of its travel: parameter 5A."""
        return max(0.0, (self.unit.d_pct(self._train.travel) - self.rest.value) / SPAN_PCT * 100.0)

    def unlike(self) -> bool:
        """The sensors do not belong to the same travel."""
        travel = self._train.travel
        return abs(self.unit.e_pct(travel) - SHARE_E * self.unit.d_pct(travel)) > 2.0 * UNLIKE_PCT

    def routine(self, conditions: tuple[Condition, ...]) -> Routine:
        """The learn, with what the module asks of the car."""

        def begin(_option: bytes) -> None:
            self._d, self._e = [], []

        def poll() -> None:
            self._d.append(self.unit.d_pct(self._train.travel))
            self._e.append(self.unit.e_pct(self._train.travel))

        def end() -> RoutineState:
            still = len(self._d) >= 10 and pstdev(self._d) <= STILL_PCT
            alike = still and abs(fmean(self._e) - SHARE_E * fmean(self._d)) <= UNLIKE_PCT
            stored = alike and self.rest.learn(fmean(self._d))
            self.settle()
            return RoutineState.STORED if stored else RoutineState.REFUSED

        return Routine(
            LEARN_PEDAL, "pedal rest learn, foot off", start_conditions=conditions, keep_conditions=conditions,
            on_start=begin, on_poll=poll, takes_s=2.5, on_end=end,
        )  # fmt: skip

    def identifier(self) -> Identifier:
        """Learned rest with its window."""
        numbers: Callable[[], bytes] = lambda: pack(  # noqa: E731
            ">HHHB",
            *(round(part * 100.0) for part in (self.rest.value, self.rest.low, self.rest.high)),
            self.rest.learned,
        )
        return live(PEDAL_VALUE, "learned pedal rest 0.01 %, lowest, highest, learned 0 or 1", numbers)

    def codes(self) -> list[TroubleCode]:
        """Sensors that disagree; a rest that was never learned."""
        return [
            TroubleCode(0x213800, "pedal sensors D and E disagree", self.unlike, fail_s=1.0, lamp=True, emission=True),
            TroubleCode(0x12A054, "pedal rest not learned", lambda: not self.rest.learned, lamp=True),
        ]
