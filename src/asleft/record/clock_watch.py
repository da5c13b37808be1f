"""Watching the wall clock against the monotonic one: source and zone at the beginning, every jump afterwards."""

from __future__ import annotations

from datetime import UTC, datetime

from asleft.event.body import ClockNoted
from asleft.event.envelope import Event
from asleft.model.origin import ClockKind
from asleft.ports.clock import Clock

#: A smaller difference is drift or rounding, s (common practice, no source).
JUMP_S = 1.0


class ClockWatch:
    """What a journal knows of its clock. Only a real clock is worth a word: others say in each event what they are."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._last: tuple[float, float] | None = None
        self._told = clock.kind is not ClockKind.REAL

    def remark(self) -> ClockNoted | None:
        """What must be written about the clock before the next event, if anything."""
        if self._clock.kind is not ClockKind.REAL:
            return None
        if not self._told:
            self._told = True
            return ClockNoted("system clock", local_zone())
        if self._last is None:
            return None
        wall, monotonic = self._last
        jump = (_seconds(self._clock.wall()[0]) - wall) - (self._clock.now() - monotonic)
        return ClockNoted("system clock", local_zone(), round(jump, 3)) if abs(jump) > JUMP_S else None

    def saw(self, event: Event) -> None:
        """Take the times of an event that was written."""
        self._last = (_seconds(event.wall), event.monotonic_s)


def local_zone() -> str:
    """The system's zone and its distance from UTC, as ``CET +01:00``."""
    here = datetime.now(UTC).astimezone()
    return f"{here.tzname()} {here.isoformat()[-6:]}"


def _seconds(wall: str) -> float:
    return datetime.fromisoformat(wall).timestamp()
