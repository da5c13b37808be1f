"""The last seconds of a signal, kept up to date reading by reading: how much it moves, drifts or steps."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

_REFRESH = 256
#: Length over which readings are averaged before two neighbours are compared for a step, s.
STEP_S = 2.0


class Sliding:
    """A sliding window of readings.

    Args:
        window_s: its length, s.
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._kept: deque[tuple[float, float]] = deque()
        self._time_0 = 0.0
        self._value_0 = 0.0
        self._sums = [0.0] * 5  # of v, v², t, t², t·v, both counted from a reading in the window
        self._since_refresh = 0

    @property
    def span_s(self) -> float:
        """How much of the window has been seen, s."""
        return self._kept[-1][0] - self._kept[0][0] if self._kept else 0.0

    @property
    def full(self) -> bool:
        """The whole window has been seen."""
        return len(self._kept) >= 3 and self.span_s >= self._window_s

    def add(self, time_s: float, value: float) -> None:
        """Take a reading, let go of those that are older than the window."""
        if not self._kept:
            self._time_0, self._value_0 = time_s, value
        self._kept.append((time_s, value))
        self._count(time_s, value, 1.0)
        while len(self._kept) > 2 and time_s - self._kept[1][0] >= self._window_s:
            self._count(*self._kept.popleft(), -1.0)
        self._since_refresh += 1
        if self._since_refresh >= _REFRESH:
            self._refresh()

    def forget(self) -> None:
        """Begin again: something was not seen."""
        self._kept.clear()
        self._sums = [0.0] * 5

    def deviation(self) -> float:
        """Standard deviation (n-1), in the signal's unit."""
        n, (v, vv, _, _, _) = len(self._kept), self._sums
        return math.sqrt(max(0.0, (vv - v * v / n) / (n - 1)))

    def slope(self) -> float:
        """Slope of the least-squares line, the signal's unit a minute."""
        n, (v, _, t, tt, tv) = len(self._kept), self._sums
        power = tt - t * t / n
        return 60.0 * (tv - t * v / n) / power if power > 0.0 else 0.0

    def largest_step(self) -> float:
        """Largest difference of the means of two neighbouring blocks of two seconds, in the signal's unit."""
        blocks: dict[int, list[float]] = {}
        begin = self._kept[0][0]
        for time_s, value in self._kept:
            blocks.setdefault(int((time_s - begin) / STEP_S), []).append(value)
        means = [sum(b) / len(b) for b in blocks.values()]
        return max((abs(b - a) for a, b in pairwise(means)), default=0.0)

    def _count(self, time_s: float, value: float, sign: float) -> None:
        t, v = time_s - self._time_0, value - self._value_0
        for i, term in enumerate((v, v * v, t, t * t, t * v)):
            self._sums[i] += sign * term

    def _refresh(self) -> None:
        """Add up afresh now and then, so that rounding does not build up."""
        self._since_refresh = 0
        self._time_0, self._value_0 = self._kept[-1]
        self._sums = [0.0] * 5
        for time_s, value in self._kept:
            self._count(time_s, value, 1.0)
