"""Standard deviation over the last seconds, kept up to date reading by reading."""

from __future__ import annotations

import math
from collections import deque

_REFRESH = 256


class Stillness:
    """A sliding window of readings.

    Args:
        window_s: its length, s.
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._kept: deque[tuple[float, float]] = deque()
        self._shift = 0.0
        self._sum = 0.0
        self._squares = 0.0
        self._since_refresh = 0

    @property
    def span_s(self) -> float:
        """How much of the window has been seen, s."""
        return self._kept[-1][0] - self._kept[0][0] if self._kept else 0.0

    def add(self, time_s: float, value: float) -> float | None:
        """Take a reading; the standard deviation (n-1) over the window, or None until the window is full."""
        if not self._kept:
            self._shift = value
        self._kept.append((time_s, value))
        self._count(value, 1.0)
        while len(self._kept) > 2 and time_s - self._kept[1][0] >= self._window_s:
            self._count(self._kept.popleft()[1], -1.0)
        self._refresh()
        n = len(self._kept)
        if n < 3 or self.span_s < self._window_s:
            return None
        return math.sqrt(max(0.0, (self._squares - self._sum * self._sum / n) / (n - 1)))

    def forget(self) -> None:
        """Begin again: something was not seen."""
        self._kept.clear()
        self._sum = self._squares = 0.0

    def _count(self, value: float, sign: float) -> None:
        d = value - self._shift
        self._sum += sign * d
        self._squares += sign * d * d

    def _refresh(self) -> None:
        """Add up afresh now and then, so that rounding does not build up."""
        self._since_refresh += 1
        if self._since_refresh < _REFRESH:
            return
        self._since_refresh = 0
        self._shift = self._kept[-1][1]
        self._sum = math.fsum(v - self._shift for _, v in self._kept)
        self._squares = math.fsum((v - self._shift) ** 2 for _, v in self._kept)
