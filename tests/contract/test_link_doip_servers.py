"""Our DoIP link against entities whose messages scapy and doipclient make and read, each in a process of its own.

The other direction, their clients against a server, is in tests/contract/bench.
"""

from __future__ import annotations

import asyncio
import importlib.util
import json
import sys
from pathlib import Path

import pytest

from asleft.job.clock import real_clock
from asleft.link.doip import DoipLink
from asleft.model.module import ModuleAddress
from asleft.talk.conversations import Conversations
from asleft.talk.errors import NotPassedOn

ENGINE = ModuleAddress("engine", 0x1001, 0x1001)


@pytest.mark.parametrize("library", ["scapy", "doipclient"])
def test_our_link_is_understood_and_understands(library: str) -> None:
    """Activation, alive check, requests and long answers, an acknowledgement, a refusal by the gateway."""
    if importlib.util.find_spec(library) is None:
        pytest.skip(f"{library} is not installed")

    async def main() -> list[dict[str, object]]:
        script = Path(__file__).with_name("doip_servers.py")
        process = await asyncio.create_subprocess_exec(
            sys.executable, str(script), library, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
        )
        assert process.stdout is not None
        clock = real_clock()
        port = int(await asyncio.wait_for(process.stdout.readline(), 30))
        link = DoipLink("127.0.0.1", clock, port)
        await link.open()
        async with Conversations(link, clock, lambda _: None) as talk:
            for did in (b"\xf1\x90", b"\xf1\x87"):
                assert await talk.ask(ENGINE, b"\x22" + did) == b"\x62" + did + bytes(range(200))
            with pytest.raises(NotPassedOn, match="module address unknown"):
                await talk.ask(ModuleAddress("ghost", 0x1FFF, 0x1FFF), b"\x22\xf1\x90")
        await link.close()
        output, errors = await asyncio.wait_for(process.communicate(), 30)
        assert process.returncode == 0, errors.decode()
        return json.loads(output)

    heard = asyncio.run(main())
    assert heard[0] == {"type": 5, "source": 0x0E00, "kind": 0}
    assert {"type": 8, "source": 0x0E00} in heard
    asked = [(m["target"], m["data"]) for m in heard if m["type"] == 0x8001]
    assert asked[:2] == [(0x1001, "22f190"), (0x1001, "22f187")]
    assert asked[2][0] == 0x1FFF
