"""The live demo: bench car, engine and page as three processes, one job opened, the address printed."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.client import HostedCar
from asleft.job.client import JobClient
from asleft.model.errors import Code, InternalError

from .scene import demo_order

PageCommand = Callable[[Path, int], list[str]]

#: How long a process may take to be ready, s.
_READY_S = 40.0


class LiveDemo:
    """Starts the three processes, opens the demo job, ends them in the right order.

    Args:
        seed, cleaned: which car, and how well its throttle is cleaned.
        port: of the page; 0: a free one.
        page: command that starts the page for a data folder and a port.
        folder: data folder; a fresh one that is thrown away when None.
    """

    def __init__(self, *, seed: int, cleaned: float, port: int, page: PageCommand, folder: Path | None = None) -> None:
        self._seed = seed
        self._cleaned = cleaned
        self._port = port or _free_port()
        self._page = page
        self._folder = folder
        self.address = f"http://127.0.0.1:{self._port}/"

    async def run(self, say: Callable[[str], None], ready: asyncio.Event | None = None) -> None:
        """Run until interrupted. ``say`` gets the lines for the person who started it."""
        stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        for sign in (signal.SIGINT, signal.SIGTERM):
            with contextlib.suppress(NotImplementedError):
                loop.add_signal_handler(sign, stop.set)
        with contextlib.ExitStack() as stack:
            folder = self._folder or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="asleft-demo-")))
            async with HostedCar("petrol", seed=self._seed, options={"warm": True}) as car:
                await self._serve(car, folder, say, stop, ready)
        say("ended; nothing is running any more")

    async def _serve(
        self,
        car: HostedCar,
        folder: Path,
        say: Callable[[str], None],
        stop: asyncio.Event,
        ready: asyncio.Event | None,
    ) -> None:
        engine = await _start(
            [
                *(sys.executable, "-m", "asleft.practice.engine", "--folder", str(folder)),
                *("--channel", car.channel, "--port", str(car.port), "--control", str(car.control)),
                *("--cleaned", str(self._cleaned)),
            ]
        )
        try:
            await _line(engine)
            plate = PetrolCar(seed=self._seed).vin
            job = await JobClient(folder).open_job(demo_order(plate))
            page = await _start(self._page(folder, self._port))
            try:
                await _line(page)
                say(f"job {job} on a bench car: {self.address}job/{job}")
                say("Ctrl-C ends it.")
                if ready is not None:
                    ready.set()
                await _first(stop, engine, page)
            finally:
                await _end(page)
        finally:
            await _end(engine)


async def _start(command: list[str]) -> asyncio.subprocess.Process:
    """A process in its own group, so that Ctrl-C reaches us first and we end it in order."""
    return await asyncio.create_subprocess_exec(
        *command, stdout=asyncio.subprocess.PIPE, start_new_session=sys.platform != "win32"
    )


async def _line(process: asyncio.subprocess.Process) -> str:
    """The first line a process prints when it is ready. Raises InternalError when it ends or takes too long."""
    assert process.stdout is not None
    try:
        line = await asyncio.wait_for(process.stdout.readline(), _READY_S)
    except TimeoutError:
        line = b""
    if not line:
        await _end(process)
        raise InternalError(Code.INTERNAL, "a process of the demo did not start; its message stands above")
    return line.decode()


async def _first(stop: asyncio.Event, *processes: asyncio.subprocess.Process) -> None:
    """Wait until told to stop or until a process has ended by itself."""
    waits = [asyncio.ensure_future(stop.wait()), *(asyncio.ensure_future(p.wait()) for p in processes)]
    await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
    for wait in waits:
        wait.cancel()


async def _end(process: asyncio.subprocess.Process) -> None:
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGINT if sys.platform != "win32" else signal.SIGTERM)
        try:
            await asyncio.wait_for(process.wait(), 15.0)
        except TimeoutError:
            process.kill()
            await process.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
