"""The local channel between the engine and its clients: commands with answers, and a lossy live feed, as JSON lines.

The engine listens on the loopback address and writes port and a token into ``engine.json`` in the data folder, readable
by its owner only. A request is one line ``{"token", "command", ...}``; the answer is one line ``{"result"}`` or
``{"error", "code", "detail", "where", "kind"}``. The command ``watch`` turns the connection into the live feed: newest
values only, so a slow reader misses some.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import secrets
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

from asleft.model.errors import AsleftError, Code, InputError, LinkError, ModuleError, RecordError, RunError

Command = Callable[[dict[str, Any]], Awaitable[Any]]

_FILE = "engine.json"
_LIMIT = 1 << 20


class LiveFeed:
    """Newest values for whoever watches. A slow or dead watcher never holds the engine up."""

    def __init__(self) -> None:
        self._latest: dict[str, Any] = {}
        self._watchers: set[asyncio.Event] = set()
        self._beat_s = 0.0

    def put(self, key: str, value: Any) -> None:
        """Replace the newest value under ``key`` and wake the watchers."""
        self._latest[key] = value
        if key == "sequence":
            self._beat_s = time.monotonic()
        for watcher in self._watchers:
            watcher.set()

    def clear(self) -> None:
        """Nothing is live any more."""
        self._latest.clear()
        for watcher in self._watchers:
            watcher.set()

    def snapshot(self) -> dict[str, Any]:
        """All newest values."""
        return dict(self._latest)

    def _sent(self) -> dict[str, Any]:
        """A snapshot; beats of a sequence by hand say how old they are, so that a page counts in with the engine."""
        snapshot = self.snapshot()
        if "sequence" in snapshot:
            snapshot["sequence-age"] = time.monotonic() - self._beat_s
        return snapshot

    async def watch(self, least_s: float = 0.05) -> AsyncIterator[dict[str, Any]]:
        """Snapshots when something changed, at most one per ``least_s`` seconds."""
        woken = asyncio.Event()
        woken.set()
        self._watchers.add(woken)
        try:
            while True:
                await woken.wait()
                woken.clear()
                yield self._sent()
                await asyncio.sleep(least_s)
        finally:
            self._watchers.discard(woken)


class ChannelServer:
    """The engine's side of the channel."""

    def __init__(self, folder: Path, commands: dict[str, Command], feed: LiveFeed) -> None:
        self._folder = folder
        self._commands = commands
        self._feed = feed
        self._token = secrets.token_hex(16)
        self._server: asyncio.Server | None = None
        self._open: set[asyncio.Task[None]] = set()

    async def start(self) -> int:
        """Listen on a free loopback port and announce it in the data folder. Returns the port."""
        self._server = await asyncio.start_server(self._connected, "127.0.0.1", 0, limit=_LIMIT)
        port = int(self._server.sockets[0].getsockname()[1])
        announcement = json.dumps({"port": port, "token": self._token, "pid": os.getpid()})
        path = self._folder / _FILE
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(announcement)
        return port

    async def stop(self) -> None:
        """Stop listening and take the announcement back."""
        (self._folder / _FILE).unlink(missing_ok=True)
        if self._server is not None:
            self._server.close()
        for task in tuple(self._open):
            task.cancel()

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is not None:
            self._open.add(task)
        try:
            with contextlib.suppress(ConnectionError, asyncio.CancelledError, ValueError):
                while line := await reader.readline():
                    await self._serve(line, writer)
        finally:
            if task is not None:
                self._open.discard(task)
            writer.close()

    async def _serve(self, line: bytes, writer: asyncio.StreamWriter) -> None:
        try:
            request = _request(line, self._token)
        except AsleftError as error:
            await _write(writer, _told(error))
            return
        if request["command"] == "watch":
            async for snapshot in self._feed.watch():
                await _write(writer, snapshot)
            return
        await _write(writer, await self._answer(request))

    async def _answer(self, request: dict[str, Any]) -> dict[str, Any]:
        command = self._commands.get(request["command"])
        if command is None:
            return {"error": f"no such command: {request['command']}", "code": Code.INTERNAL.value}
        try:
            return {"result": await command(request)}
        except AsleftError as error:
            return _told(error)
        except (KeyError, TypeError, ValueError) as error:
            # a request out of form must not take the engine down
            return {"error": f"request out of form: {error!r}", "code": Code.INTERNAL.value}


def _request(line: bytes, token: str) -> dict[str, Any]:
    try:
        request = json.loads(line)
    except ValueError as error:
        raise InputError(Code.INTERNAL, "not a JSON line") from error
    if not isinstance(request, dict) or not secrets.compare_digest(str(request.get("token", "")), token):  # pyright: ignore[reportUnknownMemberType, reportUnknownArgumentType]
        raise InputError(Code.ENGINE_ABSENT, "wrong token")
    if not isinstance(request.get("command"), str):  # pyright: ignore[reportUnknownMemberType]
        raise InputError(Code.INTERNAL, "no command")
    return request  # pyright: ignore[reportUnknownVariableType]


_KINDS = {kind.__name__: kind for kind in (InputError, LinkError, ModuleError, RunError, RecordError)}


def _told(error: AsleftError) -> dict[str, Any]:
    """An error in its parts, so that it is put together again once, and of the same kind."""
    kind = next((name for name, kind in _KINDS.items() if isinstance(error, kind)), "")
    told = {"error": error.sentence(), "code": error.code.value}
    return {**told, "detail": error.detail, "where": error.where, "kind": kind}


def _raised(answer: dict[str, Any]) -> AsleftError:
    kind = _KINDS.get(str(answer.get("kind", "")), RunError)
    return kind(Code(answer["code"]), str(answer.get("detail", answer["error"])), str(answer.get("where", "")))


async def _write(writer: asyncio.StreamWriter, value: dict[str, Any]) -> None:
    writer.write(json.dumps(value).encode() + b"\n")
    await writer.drain()


class ChannelClient:
    """A client's side: one connection per call, so that nothing hangs on a broken one."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def _announcement(self) -> dict[str, Any]:
        try:
            return json.loads((self._folder / _FILE).read_text())
        except (OSError, ValueError) as error:
            raise RunError(Code.ENGINE_ABSENT, str(self._folder)) from error

    async def _connect(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter, str]:
        said = self._announcement()
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", int(said["port"]), limit=_LIMIT)
        except OSError as error:
            raise RunError(Code.ENGINE_ABSENT, str(error)) from error
        return reader, writer, str(said["token"])

    async def call(self, command: str, **arguments: Any) -> Any:
        """Give a command and return its result. Raises the engine's error, or RunError (engine-absent)."""
        reader, writer, token = await self._connect()
        try:
            await _write(writer, {"token": token, "command": command, **arguments})
            line = await reader.readline()
        except ConnectionError as error:
            raise RunError(Code.ENGINE_ABSENT, str(error)) from error
        finally:
            writer.close()
        if not line:
            raise RunError(Code.ENGINE_ABSENT, "it closed the connection")
        answer = json.loads(line)
        if "error" in answer:
            raise _raised(answer)
        return answer.get("result")

    async def watch(self) -> AsyncIterator[dict[str, Any]]:
        """The live feed until the engine or the caller ends it."""
        reader, writer, token = await self._connect()
        try:
            await _write(writer, {"token": token, "command": "watch"})
            while line := await reader.readline():
                yield json.loads(line)
        finally:
            writer.close()
