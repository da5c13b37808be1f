"""Whose turn it is on a link: how many requests may be on their way, and who must be alone.

Use::

    turns = Turns(clock, limit=2)
    if await turns.take(until_s):
        try: ...
        finally: turns.give_back()

First come, first served. One that must be alone waits until nobody else is on the way; those who come after it wait
behind it, so that it is not starved.
"""

from __future__ import annotations

import asyncio
from collections import deque

import msgspec

from asleft.ports.clock import Clock

from .waiting import until


class _Waiter(msgspec.Struct):
    future: asyncio.Future[None]
    alone: bool


class Turns:
    """Turns on one link.

    Args:
        clock: for the deadlines of those who wait.
        limit: most at a time, 1 or more.
    """

    def __init__(self, clock: Clock, limit: int) -> None:
        self._clock = clock
        self._limit = max(1, limit)
        self._waiters: deque[_Waiter] = deque()
        self._alone = False
        self.taken = 0

    @property
    def limit(self) -> int:
        """Most at a time."""
        return self._limit

    @limit.setter
    def limit(self, limit: int) -> None:
        self._limit = max(1, limit)
        self._serve()

    async def take(self, until_s: float, *, alone: bool = False) -> bool:
        """Wait for a turn, at most until ``until_s``; whether it was got."""
        waiter = _Waiter(asyncio.get_running_loop().create_future(), alone)
        self._waiters.append(waiter)
        self._serve()
        try:
            if await until(waiter.future, self._clock, until_s):
                return True
        except asyncio.CancelledError:
            self._drop(waiter)
            raise
        self._drop(waiter)
        return False

    def give_back(self) -> None:
        """End of a turn."""
        self.taken -= 1
        self._alone = False
        self._serve()

    def _drop(self, waiter: _Waiter) -> None:
        if waiter in self._waiters:
            self._waiters.remove(waiter)
            self._serve()
        elif waiter.future.done() and not waiter.future.cancelled():
            self.give_back()  # it was granted in the very moment it gave up

    def _serve(self) -> None:
        while self._waiters and not self._alone:
            first = self._waiters[0]
            if self.taken >= (1 if first.alone else self._limit):
                return
            self._waiters.popleft()
            if first.future.cancelled():
                continue
            self.taken += 1
            self._alone = first.alone
            first.future.set_result(None)
