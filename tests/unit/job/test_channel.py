"""The channel between engine and page: commands, errors, tokens, the lossy feed."""

from __future__ import annotations

import asyncio
import json
import stat
from pathlib import Path
from typing import Any

import pytest

from asleft.job.channel import ChannelClient, ChannelServer, LiveFeed
from asleft.model.errors import Code, InputError, RunError


async def echo(request: dict[str, Any]) -> Any:
    return request["what"]


async def refuse(_request: dict[str, Any]) -> Any:
    raise InputError(Code.UNKNOWN_WORK_ITEM, "polish the ashtray")


async def with_server(folder: Path, use: Any) -> None:
    feed = LiveFeed()
    server = ChannelServer(folder, {"echo": echo, "refuse": refuse}, feed)
    await server.start()
    try:
        await use(ChannelClient(folder), feed, folder)
    finally:
        await server.stop()


def test_a_command_comes_back_with_its_result(tmp_path: Path) -> None:
    async def use(client: ChannelClient, _feed: LiveFeed, _folder: Path) -> None:
        assert await client.call("echo", what={"a": [1, 2]}) == {"a": [1, 2]}

    asyncio.run(with_server(tmp_path, use))


def test_an_error_keeps_its_code_and_words(tmp_path: Path) -> None:
    async def use(client: ChannelClient, _feed: LiveFeed, _folder: Path) -> None:
        with pytest.raises(InputError, match="polish the ashtray") as caught:
            await client.call("refuse")
        assert caught.value.sentence() == str(InputError(Code.UNKNOWN_WORK_ITEM, "polish the ashtray")), (
            "once, and whole"
        )
        with pytest.raises(RunError, match="no such command"):
            await client.call("explode")
        with pytest.raises(RunError, match="out of form"):
            await client.call("echo")

    asyncio.run(with_server(tmp_path, use))


def test_the_announcement_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    async def use(_client: ChannelClient, _feed: LiveFeed, folder: Path) -> None:
        assert stat.S_IMODE((folder / "engine.json").stat().st_mode) == 0o600

    asyncio.run(with_server(tmp_path, use))


@pytest.mark.parametrize(
    "line", [b"nonsense\n", b"[1]\n", b'{"command":"echo"}\n', b'{"token":"x","command":"echo"}\n']
)
def test_without_the_token_nothing_is_done(tmp_path: Path, line: bytes) -> None:
    async def use(_client: ChannelClient, _feed: LiveFeed, folder: Path) -> None:
        port = json.loads((folder / "engine.json").read_text())["port"]
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(line)
        await writer.drain()
        assert "error" in json.loads(await reader.readline())
        writer.close()

    asyncio.run(with_server(tmp_path, use))


def test_an_absent_engine_is_said(tmp_path: Path) -> None:
    with pytest.raises(RunError) as caught:
        asyncio.run(ChannelClient(tmp_path).call("status"))
    assert caught.value.code is Code.ENGINE_ABSENT


def test_a_slow_watcher_gets_the_newest_and_holds_nothing_up(tmp_path: Path) -> None:
    async def use(client: ChannelClient, feed: LiveFeed, _folder: Path) -> None:
        watch = client.watch()
        await anext(watch)
        for number in range(1000):
            feed.put("speed", number)
        seen = await anext(watch)
        while seen.get("speed") != 999:
            seen = await anext(watch)
        await watch.aclose()

    asyncio.run(with_server(tmp_path, use))
