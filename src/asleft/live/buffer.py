"""Readings kept for somebody who takes them when he can: the sampler never waits, and what is lost is counted.

The newest readings stay, the oldest go. A reader that sleeps for an hour costs itself, nobody else::

    buffer = Buffer(1000)
    stop = signals.subscribe(buffer.add)
    readings, lost = buffer.take()
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

from asleft.model.reading import Reading


class Taken(NamedTuple):
    """What was kept since the last time, oldest first, and how many older ones had to go."""

    readings: tuple[Reading, ...]
    lost: int


class Buffer:
    """A ring of readings. Args: size: most that are kept, at least 1."""

    def __init__(self, size: int = 1000) -> None:
        if size < 1:
            raise ValueError("a buffer keeps at least one reading")
        self._kept: deque[Reading] = deque(maxlen=size)
        self._lost = 0

    def __len__(self) -> int:
        return len(self._kept)

    def add(self, reading: Reading) -> None:
        """Keep one; never waits, never fails, whatever the reader does."""
        if len(self._kept) == self._kept.maxlen:
            self._lost += 1
        self._kept.append(reading)

    def take(self) -> Taken:
        """All that is kept; afterwards the buffer is empty."""
        taken = Taken(tuple(self._kept), self._lost)
        self._kept.clear()
        self._lost = 0
        return taken
