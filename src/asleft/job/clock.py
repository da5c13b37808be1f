"""Clocks: the one adapter between the Clock port and an asyncio event loop, in real or virtual time.

In virtual time the loop (``job.virtual``) jumps to the next due moment when nothing else is ready, so an
hour at the car takes as long as its computation::

    run_virtual(lambda clock: whole_job(clock))
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from asleft.model.errors import Code, InputError
from asleft.model.origin import ClockKind, WallTrust
from asleft.ports.clock import Timer

from .virtual import VirtualLoop

T = TypeVar("T")

#: Wall time at which simulated jobs begin, so that the same seed gives the same bytes.
SIMULATED_START = datetime(2031, 4, 17, 8, 0, 0, tzinfo=UTC)


def rfc3339(moment: datetime) -> str:
    """UTC with milliseconds, as ``2031-04-17T08:00:00.000Z``. Source: RFC 3339."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def now_text(text: str = "") -> str:
    """This moment, or the one in ``text``, as a record writes it. Raises InputError (time-unreadable)."""
    try:
        moment = datetime.fromisoformat(text) if text else datetime.now(UTC)
    except ValueError:
        raise InputError(Code.TIME_UNREADABLE, repr(text)) from None
    return rfc3339(moment if moment.tzinfo else moment.replace(tzinfo=UTC))


class LoopClock:
    """The Clock port on the running event loop."""

    def __init__(self, kind: ClockKind, start: datetime | None = None) -> None:
        self._loop = asyncio.get_running_loop()
        self._kind = kind
        self._start = start
        self._zero = self._loop.time()

    @property
    def kind(self) -> ClockKind:
        """Real or virtual."""
        return self._kind

    def now(self) -> float:
        """Seconds since this clock was made."""
        return self._loop.time() - self._zero

    def call_at(self, when_s: float, call: Callable[[], None]) -> Timer:
        """Call once at ``when_s``."""
        return self._loop.call_at(when_s + self._zero, call)

    async def sleep_until(self, when_s: float) -> None:
        """Wait; returns at once for the past, but lets others run."""
        await asyncio.sleep(max(0.0, when_s - self.now()))

    def wall(self) -> tuple[str, WallTrust]:
        """System time, or the simulated start plus virtual time."""
        if self._start is None:
            return rfc3339(datetime.now(UTC)), WallTrust.SYSTEM
        return rfc3339(self._start + timedelta(seconds=self.now())), WallTrust.SIMULATED


def real_clock() -> LoopClock:
    """A clock of the running loop in real time."""
    return LoopClock(ClockKind.REAL)


def run_virtual(work: Callable[[LoopClock], Coroutine[None, None, T]], start: datetime = SIMULATED_START) -> T:
    """Run ``work`` to its end in virtual time on a loop of its own and return its result.

    What still goes on in the background then is cancelled, as ``asyncio.run`` does.
    """

    async def main() -> T:
        return await work(LoopClock(ClockKind.VIRTUAL, start))

    loop = VirtualLoop()
    try:
        return loop.run_until_complete(main())
    finally:
        try:
            loop.run_until_complete(_cancelled(asyncio.all_tasks(loop)))
            loop.run_until_complete(loop.shutdown_asyncgens())
        finally:
            loop.close()


async def _cancelled(tasks: set[asyncio.Task[object]]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
