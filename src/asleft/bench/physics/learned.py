"""What the physics asks of a learned number, wherever it is kept."""

from __future__ import annotations

from typing import Protocol


class Learned(Protocol):
    """A number that a control module learns and then works with."""

    @property
    def value(self) -> float:
        """What the module works with now."""
        ...

    def adapt(self, step: float) -> float:
        """Move by a small step, held at the limits; gives the new value."""
        ...


class Fixed:
    """A learned number that lives on its own, for tests of single parts: ``Fixed(0.0, -1.0, 1.0)``."""

    __slots__ = ("high", "low", "value")

    def __init__(self, value: float, low: float, high: float) -> None:
        self.value = value
        self.low = low
        self.high = high

    def adapt(self, step: float) -> float:
        """Move by a small step, held at the limits; gives the new value."""
        self.value = min(self.high, max(self.low, self.value + step))
        return self.value
