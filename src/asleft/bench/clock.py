"""A discrete-event clock: runs a bench by itself, without an event loop, as fast as the machine can.

For tests, benchmarks and soaks. Cars and buses cannot tell it from any other Clock::

    clock = StepClock()
    car.attach(InLoopBus(clock), clock)
    clock.run_until(3600.0)
"""

from __future__ import annotations

import asyncio
import heapq
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from asleft.model.origin import ClockKind, WallTrust
from asleft.ports.clock import Timer

#: Simulated wall time at clock zero.
EPOCH = datetime(2030, 1, 7, 8, 0, tzinfo=UTC)


class StepTimer:
    """A call that was set for later."""

    __slots__ = ("call",)

    def __init__(self, call: Callable[[], None]) -> None:
        self.call: Callable[[], None] | None = call

    def cancel(self) -> None:
        """Make sure it does not happen."""
        self.call = None


class StepClock:
    """Virtual time that moves only in `run_until` and `run_while`. Calls at equal times happen in the order set."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s
        self._due: list[tuple[float, int, StepTimer]] = []
        self._count = 0

    @property
    def kind(self) -> ClockKind:
        """Virtual."""
        return ClockKind.VIRTUAL

    def now(self) -> float:
        """Virtual time, s."""
        return self._now_s

    def call_at(self, when_s: float, call: Callable[[], None]) -> StepTimer:
        """Call once at ``when_s``; past times mean at the present moment, after what is due already."""
        timer = StepTimer(call)
        self._count += 1
        heapq.heappush(self._due, (max(when_s, self._now_s), self._count, timer))
        return timer

    async def sleep_until(self, when_s: float) -> None:
        """Not for this clock: nobody but its caller moves it. Moves time itself when awaited by the only user."""
        self.run_until(when_s)

    def wall(self) -> tuple[str, WallTrust]:
        """Simulated wall time."""
        moment = EPOCH + timedelta(seconds=self._now_s)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"), WallTrust.SIMULATED

    def run_until(self, when_s: float) -> None:
        """Do everything due up to ``when_s`` and stand there."""
        due = self._due
        while due and due[0][0] <= when_s:
            self._now_s, _, timer = heapq.heappop(due)
            if timer.call is not None:
                timer.call()
        self._now_s = max(self._now_s, when_s)

    def run_while(self, test: Callable[[], bool], limit_s: float) -> bool:
        """Do one due call after the other while ``test`` is true, at most ``limit_s`` from now.

        Returns: whether ``test`` became false in that time.
        """
        end_s = self._now_s + limit_s
        due = self._due
        while test():
            if not due or due[0][0] > end_s:
                self._now_s = max(self._now_s, end_s)
                return False
            self._now_s, _, timer = heapq.heappop(due)
            if timer.call is not None:
                timer.call()
        return True


class HostClock:
    """The running event loop's real time, times ``speed``: a bench process's clock.

    Args: speed: 1 real time; up to 60 for physics that nobody talks to.
    """

    def __init__(self, speed: float = 1.0) -> None:
        self._loop = asyncio.get_running_loop()
        self._zero_s = self._loop.time()
        self._speed = speed

    @property
    def kind(self) -> ClockKind:
        """Real."""
        return ClockKind.REAL

    def now(self) -> float:
        """Seconds since this clock was made, times speed."""
        return (self._loop.time() - self._zero_s) * self._speed

    def call_at(self, when_s: float, call: Callable[[], None]) -> Timer:
        """Call once at ``when_s``."""
        return self._loop.call_at(self._zero_s + when_s / self._speed, call)

    async def sleep_until(self, when_s: float) -> None:
        """Wait until then."""
        await asyncio.sleep(max(0.0, (when_s - self.now()) / self._speed))

    def wall(self) -> tuple[str, WallTrust]:
        """System time."""
        return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"), WallTrust.SYSTEM
