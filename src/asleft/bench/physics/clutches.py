"""Clutches of an automatic gearbox: each wants its own fill of oil, the module gives what it has learned.

Too little and the clutch grips late: a pause, the engine flares, then a bump. Too much and it grips hard, or two hold
at once. Figures are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .learned import Learned
from .noise import Noise

#: What grips: to drive off forwards, backwards, and at each upshift.
ELEMENTS = ("forward", "reverse", "second", "third", "fourth", "fifth")
#: Delay and rise of a well filled clutch, s; how much longer per unit of missing fill.
DELAY_S, RISE_S = 0.45, 0.35
LATE_S = 2.2


class Clutches:
    """All elements of one gearbox.

    Attributes: needs: fill that each wants at 80 °C, 1 nominal. learned: what the module gives. low: oil is missing,
        so that more fill is needed and none is like the other. times_s: from asking to gripping, each, last.
        grip: share of the torque that gets through now. count: engagements since made, each.
    """

    CHANGES = ("needs", "low", "times_s", "grip", "count", "since_s", "element", "_place", "_noise")

    def __init__(self, needs: list[float], learned: Sequence[Learned], oil_c: Callable[[], float], seed: int) -> None:
        self.needs = needs
        self.learned = learned
        self.low = 0.0
        self.times_s = [DELAY_S + RISE_S] * len(ELEMENTS)
        self.count = [0] * len(ELEMENTS)
        self.grip = 1.0
        self.since_s = 99.0
        self.element = 0
        self._oil_c = oil_c
        self._noise = Noise(seed, "clutches")
        self._place = "P0"

    def needed(self, element: int) -> float:
        """Fill that an element wants now: cold oil is thick, missing oil foams."""
        thick = 0.0022 * (80.0 - self._oil_c())
        return self.needs[element] * (1.0 + thick) + self.low

    def measured(self, element: int, unsteady: float = 0.0) -> float:
        """Fill as the module measures it while it walks a clutch; ``unsteady`` scatters it."""
        spread = 0.012 + unsteady + 0.25 * self.low
        return self.needed(element) * (1.0 + spread * self._noise.normal())

    def short(self, element: int) -> float:
        """Missing fill, as a share; negative: too much."""
        return (self.needed(element) - self.learned[element].value) / self.needed(element)

    def step(self, dt_s: float, selector: str, gear: int) -> float:
        """Advance; gives the share of the torque that gets through."""
        place = f"{selector}{gear if selector == 'D' else 0}"
        if place != self._place:
            self._begin(self._place, place)
            self._place = place
        self.since_s += dt_s
        short = self.short(self.element)
        delay, rise = self._delay_s(short), self._rise_s(short)
        if self.since_s < 6.0:
            share = (self.since_s - delay) / rise
            held = 0.0 if self._first else 0.75 - max(0.0, short) * 1.5
            self.grip = min(1.0, max(held, share, 0.0))
        else:
            self.grip = 1.0
        return self.grip

    @property
    def _first(self) -> bool:
        """Driving off: before it grips nothing gets through. An upshift hands over from one clutch to the next."""
        return self.element < 2

    def _begin(self, before: str, place: str) -> None:
        if place[0] == "D":
            up = before[0] == "D" and place > before
            if before[0] == "D" and not up:
                return
            self.element = int(place[1:]) + 1 if up else 0
        elif place[0] == "R":
            self.element = 1
        else:
            return
        self.since_s = 0.0
        self.count[self.element] += 1
        short = self.short(self.element)
        self.times_s[self.element] = (self._delay_s(short) + self._rise_s(short)) * (1.0 + 0.02 * self._noise.normal())

    @staticmethod
    def _delay_s(short: float) -> float:
        return DELAY_S + max(0.0, short) * LATE_S - max(0.0, -short) * 0.6

    @staticmethod
    def _rise_s(short: float) -> float:
        return max(0.05, RISE_S - abs(short) * 0.9)
