"""Waiting for a future until a moment on the Clock: the one way in which this room waits."""

from __future__ import annotations

import asyncio
from typing import TypeVar

from asleft.ports.clock import Clock

T = TypeVar("T")


async def until(future: asyncio.Future[T], clock: Clock, when_s: float) -> bool:
    """Wait for ``future``, at most until ``when_s``; whether it is done.

    The future is not cancelled at the deadline; when the waiting task is cancelled, it is.
    """
    if future.done():
        return True
    over: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def end() -> None:
        if not over.done():
            over.set_result(None)

    timer = clock.call_at(when_s, end)
    future.add_done_callback(lambda _: end())
    try:
        await over
    except asyncio.CancelledError:
        future.cancel()
        raise
    finally:
        timer.cancel()
    return future.done()
