r"""The control socket of a hosted bench car: acts of driver and workshop, and the truth behind a flag.

Loopback TCP, one JSON object a line, answered in order by one line each::

    {"act": "key", "args": {"position": "on"}}      -> {"done": null, "t_s": 12.4}
    {"ask": "acts"}                                 -> {"done": {"key": "(position: str) Turn the key ..."}, ...}
    {"ask": "truth"}                                -> {"done": {...}} or, without the flag, an error
    {"ask": "time"}, {"ask": "save"}

An error answers ``{"error": sentence, "code": code}``.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import Any, cast

from asleft.model.errors import AsleftError, Code, InputError

from .car import BenchCar, CarBase

_LOOPBACK = "127.0.0.1"
_LONGEST_LINE = 1 << 22


class ControlServer:
    """Serves one car.

    Args:
        car: the car.
        truth: whether {"ask": "truth"} and {"ask": "save"} are answered.
    """

    def __init__(self, car: BenchCar, *, truth: bool = False) -> None:
        self._car = car
        self._truth = truth
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()

    async def open(self) -> int:
        """Listen on a free loopback port; gives it."""
        self._server = await asyncio.start_server(self._serve, _LOOPBACK, 0, limit=_LONGEST_LINE)
        return int(self._server.sockets[0].getsockname()[1])

    async def close(self) -> None:
        """Stop listening and drop who is connected."""
        if self._server is not None:
            self._server.close()
            for writer in tuple(self._writers):
                writer.close()
            await self._server.wait_closed()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.add(writer)
        try:
            with contextlib.suppress(ConnectionError, asyncio.LimitOverrunError, ValueError):
                while line := await reader.readline():
                    writer.write(json.dumps(self.answer(line)).encode() + b"\n")
                    await writer.drain()
        finally:
            self._writers.discard(writer)
            writer.close()

    def answer(self, line: bytes) -> dict[str, Any]:
        """What one line is answered with."""
        try:
            done = self._do(_parse(line))
        except AsleftError as error:
            return {"error": error.sentence(), "code": error.code.value}
        return {"done": done, "t_s": self._car.now_s()}

    def _do(self, request: dict[str, Any]) -> Any:
        if "act" in request:
            return self._car.act(str(request["act"]), **request.get("args", {}))
        match request.get("ask"):
            case "acts":
                return dict(self._car.acts())
            case "time":
                return self._car.now_s()
            case "truth" if self._truth:
                self._car.advance_to(self._car.now_s())
                return dict(self._car.truth())
            case "save" if self._truth and isinstance(self._car, CarBase):
                return self._car.save()
            case "truth" | "save":
                raise InputError(Code.ACT_UNKNOWN, "this host was not started for grading")
            case other:
                raise InputError(Code.ACT_UNKNOWN, f"neither an act nor one of acts, time, truth, save: {other!r}")


def _parse(line: bytes) -> dict[str, Any]:
    try:
        request = json.loads(line)
    except ValueError as error:
        raise InputError(Code.ACT_UNKNOWN, f"not JSON: {error}") from error
    if not isinstance(request, dict):
        raise InputError(Code.ACT_UNKNOWN, "a line holds one JSON object")
    arguments = cast("dict[str, Any]", request).get("args", {})
    if not isinstance(arguments, dict):
        raise InputError(Code.ACT_UNKNOWN, "args is an object of named arguments")
    return cast("dict[str, Any]", request)
