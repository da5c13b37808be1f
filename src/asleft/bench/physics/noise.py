"""Seeded normal numbers, drawn in blocks because one at a time is slow."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from numpy.random import PCG64, Generator, SeedSequence

_BLOCK = 512


class Noise:
    """A stream of numbers by chance. The same seed and name give the same stream.

    Args: seed: of the car. name: of what the noise belongs to; streams of different names are independent.
    """

    __slots__ = ("_bits", "_block", "_block_state", "_generator", "_next")

    def __init__(self, seed: int, name: str) -> None:
        self._bits = PCG64(SeedSequence([seed & 0xFFFFFFFF, *name.encode()]))
        self._generator = Generator(self._bits)
        self._block: list[float] = []
        self._block_state: Any = None
        self._next = _BLOCK

    def normal(self) -> float:
        """One number of mean 0 and standard deviation 1."""
        if self._next >= _BLOCK:
            self._draw()
        value = self._block[self._next]
        self._next += 1
        return value

    def between(self, low: float, high: float) -> float:
        """One number, evenly spread from ``low`` to ``high``."""
        return low + (high - low) * float(self._generator.random())

    def whole(self, low: int, high: int) -> int:
        """One whole number from ``low`` to ``high``, both possible."""
        return int(self._generator.integers(low, high + 1))

    def save(self) -> dict[str, Any]:
        """State as JSON values."""
        return {"now": self._bits.state, "block": self._block_state, "next": self._next}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on where `save` was called."""
        if state["block"] is not None:
            self._bits.state = state["block"]
            self._draw()
        self._bits.state = state["now"]
        self._next = int(state["next"])

    def _draw(self) -> None:
        self._block_state = self._bits.state
        self._block = self._generator.standard_normal(_BLOCK).tolist()
        self._next = 0
