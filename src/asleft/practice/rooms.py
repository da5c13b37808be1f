"""Starting and ending the process of a live exercise, one at a time, for the page."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from pathlib import Path

from asleft.job.client import JobClient
from asleft.model.errors import AsleftError, Code, InputError, InternalError

from .exercise import load_exercise
from .levels import Level
from .room import TOOL

_ELSEWHERE = "a workshop's engine works on this data folder; practice has its own: asleft practice serve"
#: How long it may take until the job is open, s; until it has ended.
_READY_S, _END_S = 60.0, 15.0
#: Slowest and fastest, s at the car in a real second.
SLOWEST, FASTEST = 1.0, 60.0


class PracticeRooms:
    """Of one data folder. A folder on which a workshop's engine works is left alone: practice has its own.

    Args: folder: data folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._client = JobClient(folder)
        self._process: asyncio.subprocess.Process | None = None
        self._lock = asyncio.Lock()

    @property
    def busy(self) -> bool:
        """Whether an exercise is being worked."""
        return self._process is not None and self._process.returncode is None

    async def start(self, exercise: str, seed: int, level: Level, speed: float) -> str:
        """Start an exercise in place of the one before; the number of its job.

        Raises: InputError: no such exercise or speed; a workshop's engine works here. InternalError: it did not start.
        """
        load_exercise(exercise)
        if not SLOWEST <= speed <= FASTEST:
            raise InputError(Code.ACT_UNKNOWN, f"speed {speed:g}: {SLOWEST:g} to {FASTEST:g}")
        async with self._lock:
            await self._end()
            await self._refuse_workshop()
            self._process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "asleft.practice.room", "--folder", str(self._folder)),
                *("--exercise", exercise, "--seed", str(seed), "--level", level.value, "--speed", str(speed)),
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                start_new_session=os.name != "nt",
            )
            return await self._opened(self._process)

    async def use(self, tool: int) -> None:
        """Use a tool at the car. Raises InputError: no such tool, or the car refuses. LinkError: nothing is worked."""
        await self._client.bench_act(f"{TOOL}{tool}")

    async def end(self) -> None:
        """End the exercise in hand; its record stands as far as it went."""
        async with self._lock:
            await self._end()

    async def _refuse_workshop(self) -> None:
        with contextlib.suppress(AsleftError):
            await self._client.engine()
            raise InputError(
                Code.JOB_IN_USE,
                "a workshop's engine works on this data folder; practice has its own: asleft practice serve",
            )

    async def _opened(self, process: asyncio.subprocess.Process) -> str:
        assert process.stdout is not None
        line = b""
        with contextlib.suppress(TimeoutError):
            line = await asyncio.wait_for(process.stdout.readline(), _READY_S)
        said = json.loads(line) if line else {"error": "the exercise did not start; its message stands above"}
        if "job" not in said:
            await self._end()
            raise InternalError(Code.INTERNAL, str(said["error"]))
        return str(said["job"])

    async def _end(self) -> None:
        process, self._process = self._process, None
        if process is None or process.returncode is not None:
            return
        if process.stdin is not None:
            process.stdin.close()
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
        try:
            await asyncio.wait_for(process.wait(), _END_S)
        except TimeoutError:
            process.kill()
            await process.wait()
