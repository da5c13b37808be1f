"""The real processes of a job: bench car, engine, page; started on free ports, ended by their own id.

Example::

    with Stack(tmp_path) as stack:
        stack.page.url            # http://127.0.0.1:40123/
        stack.page.kill(); stack.page.start()
        stack.act("pedal", percent=20)
"""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self

#: The machine may be busy: how long a process may take to say that it is ready, s.
READY_S = 90.0
_END_S = 20.0


class Child:
    """One process that prints a line when it is ready."""

    def __init__(self, *command: str, log: Path) -> None:
        self._command = [sys.executable, "-m", *command]
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None
        self.said = ""

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether it was started and has not ended."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> str:
        """Start it and wait for its first line."""
        with self._log.open("ab") as errors:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=errors, start_new_session=True
            )
        assert self._process.stdout is not None
        ready, _, _ = select.select([self._process.stdout], [], [], READY_S)
        self.said = self._process.stdout.readline().decode() if ready else ""
        if not self.said:
            self.kill()
            raise AssertionError(f"{self._command} did not start: {self._log.read_text()[-2000:]}")
        return self.said

    def end(self) -> int:
        """Ask it to end, as Ctrl-C does; kill it when it does not."""
        if self._process is None:
            return 0
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
            try:
                self._process.wait(_END_S)
            except subprocess.TimeoutExpired:
                self.kill()
        self._close()
        return self._process.returncode

    def kill(self) -> None:
        """End it at once, as a crash would."""
        if self._process is not None and self._process.poll() is None:
            os.kill(self._process.pid, signal.SIGKILL)
            self._process.wait(_END_S)
        self._close()

    def _close(self) -> None:
        assert self._process is not None
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()


class PageProcess(Child):
    """The page's server. Started again, it listens on the same port."""

    def __init__(self, folder: Path, port: int = 0) -> None:
        self.port = port or free_port()
        super().__init__(
            "asleft.web", "--folder", str(folder), "--port", str(self.port), log=folder.parent / "page.log"
        )
        self.url = f"http://127.0.0.1:{self.port}/"


class Stack:
    """Bench car, engine and page.

    Args: base: a folder of the test's own. seed, cleaned: which car, and how well it is cleaned.
    """

    def __init__(self, base: Path, *, seed: int = 1, cleaned: float = 1.0) -> None:
        self.base = base
        self.folder = base / "data"
        self.folder.mkdir()
        self._cleaned = cleaned
        self.host = Child("asleft.bench.host", "petrol", "--seed", str(seed), log=base / "host.log")
        self.engine: Child | None = None
        self.page = PageProcess(self.folder)
        self._control = 0

    def __enter__(self) -> Self:
        try:
            said = json.loads(self.host.start())
            assert said["ready"], said
            self._control = int(said["control"])
            self.engine = Child(
                *("asleft.practice.engine", "--folder", str(self.folder)),
                *("--channel", str(said["channel"]), "--port", str(said["port"]), "--control", str(self._control)),
                *("--cleaned", str(self._cleaned)),
                log=self.base / "engine.log",
            )
            self.engine.start()
            self.page.start()
        except BaseException:
            self._end()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()

    def _end(self) -> None:
        self.page.end()
        if self.engine is not None:
            self.engine.end()
        self.host.end()

    def act(self, name: str, **args: Any) -> Any:
        """Do something at the car, as a hand would."""
        with socket.create_connection(("127.0.0.1", self._control), timeout=30) as control:
            control.sendall(json.dumps({"act": name, "args": args}).encode() + b"\n")
            answer = json.loads(control.makefile().readline())
        assert "error" not in answer, answer
        return answer["done"]


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(what: Any, seconds: float = 60.0) -> Any:
    """The first true value that ``what()`` gives; an assertion error when it takes too long."""
    end = time.monotonic() + seconds
    while not (found := what()):
        assert time.monotonic() < end, f"not within {seconds} s: {what}"
        time.sleep(0.02)
    return found
