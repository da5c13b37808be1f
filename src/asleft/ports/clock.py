"""The Clock port: everything that waits, waits on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from asleft.model.origin import ClockKind, WallTrust


class Timer(Protocol):
    """A call that was set for later."""

    def cancel(self) -> None:
        """Make sure it does not happen; harmless when it already has."""
        ...


class Clock(Protocol):
    """Monotonic time in seconds, real or virtual, and waiting on it.

    A pure machine that waits says until when; its caller waits here. One asyncio event loop drives a clock; in
    virtual time the loop jumps to the next due moment when nothing else is ready.
    """

    @property
    def kind(self) -> ClockKind:
        """Real, virtual or taken from a recording."""
        ...

    def now(self) -> float:
        """Monotonic time, s; the zero is arbitrary."""
        ...

    def call_at(self, when_s: float, call: Callable[[], None]) -> Timer:
        """Call once at ``when_s`` (s, same scale as ``now``), in the event loop; past means as soon as possible."""
        ...

    async def sleep_until(self, when_s: float) -> None:
        """Wait until ``now() >= when_s``."""
        ...

    def wall(self) -> tuple[str, WallTrust]:
        """Wall time as RFC 3339 text in UTC with milliseconds, and how far it can be believed."""
        ...
