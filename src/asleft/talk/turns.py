"""Whose turn it is on a link: how many requests may be on their way, and who must be alone.

Use::

    turns = Turns(clock, limit=2)
    if await turns.take(until_s):
        try: ...
        finally: turns.give_back()

First come, first served, but for a head start: who is known to take longer is served as if it had come earlier by as
much. Because the head start is bounded by that time, nobody is starved. One that must be alone waits until nobody else
is on the way; those who come after it wait behind it.
"""

from __future__ import annotations

import asyncio
from bisect import insort
from itertools import count

from asleft.ports.clock import Clock

from .waiting import until

#: However full the bus, so many may be on their way (fewer only where the limit says so).
FEWEST = 4


class _Waiter:
    """One who waits; sorted by the moment of coming less the head start, then by order of coming."""

    __slots__ = ("alone", "future", "key")

    def __init__(self, key: tuple[float, int], *, alone: bool) -> None:
        self.key = key
        self.alone = alone
        self.future: asyncio.Future[None] = asyncio.get_running_loop().create_future()


def _key(waiter: _Waiter) -> tuple[float, int]:
    return waiter.key


class Turns:
    """Turns on one link.

    Args:
        clock: for the deadlines of those who wait.
        limit: most at a time, 1 or more.

    Attributes:
        taken: turns that are held now.
    """

    def __init__(self, clock: Clock, limit: int) -> None:
        self.taken = 0
        self._clock = clock
        self._limit = max(1, limit)
        self._room = self._limit
        self._waiters: list[_Waiter] = []
        self._alone = False
        self._numbers = count()

    @property
    def limit(self) -> int:
        """Most at a time."""
        return self._limit

    @limit.setter
    def limit(self, limit: int) -> None:
        self._limit = max(1, limit)
        self._room = max(self._room, min(self._limit, FEWEST))
        self._serve()

    @property
    def room(self) -> int:
        """Most at a time for the moment: the limit, or fewer while the bus is full."""
        return min(self._room, self._limit)

    @room.setter
    def room(self, room: int) -> None:
        self._room = min(self._limit, max(room, min(self._limit, FEWEST)))
        self._serve()

    async def take(self, until_s: float, *, alone: bool = False, head_start_s: float = 0.0) -> bool:
        """Wait for a turn, at most until ``until_s``; whether it was got."""
        if not self._waiters and not self._alone and self.taken < (1 if alone else self.room):
            self.taken += 1
            self._alone = alone
            return True
        waiter = _Waiter((self._clock.now() - head_start_s, next(self._numbers)), alone=alone)
        insort(self._waiters, waiter, key=_key)
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
            if self.taken >= (1 if first.alone else self.room):
                return
            self._waiters.pop(0)
            if first.future.cancelled():
                continue
            self.taken += 1
            self._alone = first.alone
            first.future.set_result(None)
