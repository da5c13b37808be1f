"""Scales and their ticks."""

from __future__ import annotations

import math

import msgspec


class Scale(msgspec.Struct, frozen=True):
    """From a value to a place: ``low`` stands at ``start`` px, ``high`` at ``stop`` px."""

    low: float
    high: float
    start: float
    stop: float

    def at(self, value: float) -> float:
        """Place of a value, px; outside values stay at the ends."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(1.0, max(0.0, share)) * (self.stop - self.start)

    def holds(self, value: float) -> bool:
        """Whether the value lies on the scale."""
        return self.low <= value <= self.high


def scale(values: list[float], start: float, stop: float, *, pad: float = 0.08) -> Scale:
    """A scale that holds all finite values with some room; a single value gets room as well."""
    finite = [v for v in values if math.isfinite(v)] or [0.0]
    low, high = min(finite), max(finite)
    room = (high - low) * pad if high - low > 1e-9 * abs(high) else max(abs(high) * 0.05, 0.5)
    return Scale(low - room, high + room, start, stop)


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers within a range, about so many: steps of 1, 2 or 5."""
    span = high - low
    if not (math.isfinite(span) and span > 0.0):
        return []
    raw = span / max(1, about)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(step * i, 12) for i in range(first, math.floor(high / step + 1e-9) + 1)]
