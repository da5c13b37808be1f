"""What the engine process, the demo and tests need to use a hosted bench car::

async with HostedCar("petrol", seed=7) as host:
    bus = LoopbackBus(host.channel, host.port, clock)
    await host.driver.act("key", position="on")
"""

from __future__ import annotations

import asyncio
import json
import sys
from types import TracebackType
from typing import Any, Self

from asleft.model.errors import Code, InputError, LinkError

from .loopback import CHANNEL, LoopbackBus

__all__ = ["CHANNEL", "Driver", "HostedCar", "LoopbackBus"]

_LOOPBACK = "127.0.0.1"
_START_S = 30.0
_STOP_S = 5.0
_LONGEST_LINE = 1 << 22


class Driver:
    """Sends the acts of driver and workshop to a hosted car. One request at a time; connects on first use.

    Args: port: control port of the host.
    """

    def __init__(self, port: int) -> None:
        self._port = port
        self._lock = asyncio.Lock()
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def act(self, name: str, /, **args: Any) -> Any:
        """Do one act; gives what the car's act gives. Raises InputError: the car refuses it. LinkError: host gone."""
        return await self._request({"act": name, "args": args})

    async def acts(self) -> dict[str, str]:
        """Name of each act -> signature and first line of its description."""
        return dict(await self._request({"ask": "acts"}))

    async def time_s(self) -> float:
        """Car time, s."""
        return float(await self._request({"ask": "time"}))

    async def truth(self) -> dict[str, Any]:
        """The true state; only from a host started for grading."""
        return dict(await self._request({"ask": "truth"}))

    async def close(self) -> None:
        """Hang up; safe to call twice."""
        if self._streams is not None:
            writer = self._streams[1]
            self._streams = None
            writer.close()

    async def _request(self, request: dict[str, Any]) -> Any:
        async with self._lock:
            try:
                if self._streams is None:
                    self._streams = await asyncio.open_connection(_LOOPBACK, self._port, limit=_LONGEST_LINE)
                reader, writer = self._streams
                writer.write(json.dumps(request).encode() + b"\n")
                await writer.drain()
                line = await reader.readline()
            except OSError as error:
                raise LinkError(Code.NO_BUS, f"bench host: {error}", where=f"port {self._port}") from error
        if not line:
            raise LinkError(Code.LINK_LOST, "the bench host hung up", where=f"port {self._port}")
        answer = json.loads(line)
        if "error" in answer:
            raise InputError(Code(answer["code"]), answer["error"], where="bench host")
        return answer["done"]


class HostedCar:
    """Starts a bench host as a process, and stops it.

    Args:
        car, seed, options: which car.
        port: of the bus; 0: a free one.
        speed: 1 is real time.
        truth: for grading.
        doip: serve DoIP too.

    Attributes:
        pid, channel, port, control: of the running host.
        serial: path of its K-line's serial port, if the car has one. doip: its ports and logical addresses.
        driver: sends acts.
    """

    def __init__(
        self,
        car: str,
        *,
        seed: int = 0,
        options: dict[str, Any] | None = None,
        port: int = 0,
        speed: float = 1.0,
        truth: bool = False,
        doip: bool = False,
    ) -> None:
        self._arguments = [car, "--seed", str(seed), "--options", json.dumps(options or {}), "--port", str(port)]
        self._arguments += ["--speed", str(speed), *(["--truth"] if truth else []), *(["--doip"] if doip else [])]
        self._process: asyncio.subprocess.Process | None = None
        self.pid = 0
        self.channel = CHANNEL
        self.port = port
        self.control = 0
        self.serial: str | None = None
        self.doip: dict[str, Any] = {}
        self.driver = Driver(0)

    async def start(self) -> None:
        """Start it and wait until it is ready. Raises InputError or LinkError with what it says otherwise."""
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "asleft.bench.host",
            *self._arguments,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
        )
        self._process = process
        if process.stdout is None:
            raise LinkError(Code.NO_BUS, "the bench host has no output")
        try:
            line = await asyncio.wait_for(process.stdout.readline(), _START_S)
        except TimeoutError as error:
            await self.stop()
            raise LinkError(Code.NO_BUS, f"the bench host was not ready in {_START_S:.0f} s") from error
        ready: dict[str, Any] = json.loads(line) if line else {"ready": False, "error": "the bench host ended at once"}
        if not ready["ready"]:
            await self.stop()
            raise InputError(Code(ready.get("code", Code.NO_BUS)), str(ready["error"]), where="bench host")
        self.pid, self.channel = int(ready["pid"]), str(ready["channel"])
        self.port, self.control = int(ready["port"]), int(ready["control"])
        self.serial, self.doip = ready.get("serial"), ready.get("doip", {})
        self.driver = Driver(self.control)

    async def stop(self) -> int:
        """Close its standard input, wait, end it if it does not; gives its exit code."""
        process = self._process
        if process is None:
            return 0
        await self.driver.close()
        if process.stdin is not None:
            process.stdin.close()
        try:
            return await asyncio.wait_for(process.wait(), _STOP_S)
        except TimeoutError:
            process.kill()
            return await process.wait()

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.stop()
