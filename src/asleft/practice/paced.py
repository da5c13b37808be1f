"""Virtual time that passes at a pace: so many seconds at the car a real second, and fewer when the machine is slow.

Unlike a scaled clock it never runs ahead of what is computed: a busy machine makes the car slower, no answer late.
"""

from __future__ import annotations

import asyncio
import selectors
import time
from collections.abc import Callable, Coroutine
from typing import TypeVar

from asleft.job.clock import SIMULATED_START, LoopClock
from asleft.job.virtual import RealSelector
from asleft.model.origin import ClockKind

T = TypeVar("T")
#: Real sleeps below this are left out, s; a lag above that is forgiven, s.
_LEAST_S, _MOST_LAG_S = 0.002, 0.25
#: Sockets are looked at once in this many turns without a sleep.
_POLL_EVERY = 16


class _PacedSelector(RealSelector):
    """Answers a wait by moving virtual time on, no faster than the pace."""

    def __init__(self, speed: float) -> None:
        super().__init__()
        self._speed = speed
        self._zero_s = time.monotonic()
        self._turn = 0
        self.now = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None:
            return self._real.select(None)
        self._turn += 1
        self.now += max(0.0, timeout)
        ahead_s = self.now / self._speed - (time.monotonic() - self._zero_s)
        if ahead_s > _LEAST_S:
            return self._real.select(ahead_s)
        if ahead_s < -_MOST_LAG_S:
            self._zero_s -= ahead_s
        return self._real.select(0) if self._turn % _POLL_EVERY == 0 else []


class PacedLoop(asyncio.SelectorEventLoop):
    """Event loop whose ``time()`` is virtual and starts at zero. Args: speed: s at the car in a real second."""

    def __init__(self, speed: float) -> None:
        self._paced = _PacedSelector(speed)
        super().__init__(self._paced)

    def time(self) -> float:
        """Virtual time, s."""
        return self._paced.now


def run_paced(speed: float, work: Callable[[LoopClock], Coroutine[None, None, T]]) -> T:
    """Run ``work`` to its end at a pace, on a loop of its own."""

    async def main() -> T:
        return await work(LoopClock(ClockKind.VIRTUAL, SIMULATED_START))

    with asyncio.Runner(loop_factory=lambda: PacedLoop(speed)) as runner:
        return runner.run(main())
