"""Processes that belong together: started one after the other, each says a line when it is ready; ended in order."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
from collections.abc import AsyncGenerator, Sequence
from contextlib import asynccontextmanager

from asleft.model.errors import Code, InternalError

#: How long a process may take to be ready, s.
READY_S = 40.0
_END_S = 15.0


class Child:
    """One process in its own group, so that Ctrl-C reaches the parent first, which ends it in order."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process

    async def line(self) -> str:
        """Its next line. Raises InternalError when it ends or takes too long."""
        assert self._process.stdout is not None
        try:
            line = await asyncio.wait_for(self._process.stdout.readline(), READY_S)
        except TimeoutError:
            line = b""
        if not line:
            raise InternalError(Code.INTERNAL, "a process did not start; its message stands above")
        return line.decode().rstrip("\n")

    async def ended(self) -> int:
        """Wait until it ends by itself; its exit code."""
        return await self._process.wait()

    async def end(self) -> None:
        """Ask it to end as Ctrl-C does, kill it when it does not."""
        if self._process.returncode is not None:
            return
        with contextlib.suppress(ProcessLookupError):
            self._process.send_signal(signal.SIGINT if sys.platform != "win32" else signal.SIGTERM)
        try:
            await asyncio.wait_for(self._process.wait(), _END_S)
        except TimeoutError:
            self._process.kill()
            await self._process.wait()


@asynccontextmanager
async def running(command: Sequence[str]) -> AsyncGenerator[Child]:
    """A process for the length of the block."""
    child = Child(
        await asyncio.create_subprocess_exec(
            *command, stdout=asyncio.subprocess.PIPE, start_new_session=sys.platform != "win32"
        )
    )
    try:
        yield child
    finally:
        await child.end()


def stop_signs() -> asyncio.Event:
    """An event that SIGINT and SIGTERM set."""
    stop = asyncio.Event()
    for sign in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):
            asyncio.get_running_loop().add_signal_handler(sign, stop.set)
    return stop


async def until(stop: asyncio.Event, *children: Child) -> None:
    """Wait until told to stop or until one of the processes has ended by itself."""
    waits = [asyncio.ensure_future(stop.wait()), *(asyncio.ensure_future(c.ended()) for c in children)]
    await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
    for wait in waits:
        wait.cancel()
