"""Independent DoIP clients read a served bench car: doipclient and scapy, each in a process of its own."""

from __future__ import annotations

import asyncio
import importlib.util
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import HostClock
from asleft.bench.doip import DoipServer
from asleft.bench.doip_messages import Entity
from asleft.bench.identifiers import Write, stored, text
from asleft.bench.module import Address, ControlModule, Timing

VIN = "1M8GDM9AXKP042788"


def served_to(script: str) -> tuple[dict[str, Any], ControlModule]:
    """Serve one module and let the script read it."""

    async def main() -> tuple[dict[str, Any], ControlModule]:
        clock = HostClock()
        module = ControlModule(
            "engine",
            Address.normal(0x7E0, 0x7E8),
            identifiers=[
                text(0xF18C, "serial", "S01"),
                stored(0x0100, "slow", b"a", write=Write(takes_s=0.3)),
            ],
            timing=Timing(boot_s=0.0),
        )
        module.attach(InLoopBus(clock), clock)
        module.power_on()
        server = DoipServer(clock, Entity(VIN), {0x1001: module})
        tcp, udp = await server.open()
        try:
            process = await asyncio.create_subprocess_exec(
                sys.executable,
                str(Path(__file__).with_name(script)),
                str(tcp),
                str(udp),
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
            )
            output, errors = await asyncio.wait_for(process.communicate(), 30)
        finally:
            await server.close()
            module.detach()
        assert process.returncode == 0, errors.decode()
        return json.loads(output), module

    return asyncio.run(main())


@pytest.mark.skipif(importlib.util.find_spec("doipclient") is None, reason="doipclient is not installed")
def test_doipclient_reads_and_writes() -> None:
    read, module = served_to("doip_client.py")
    assert read == {"vin": VIN, "entity": 0x0E80, "power": 1, "sockets": 4, "serial": "S01", "refusal": 0x31}
    assert module.peek(0x0100) == b"b"


def test_scapy_reads() -> None:
    read, _ = served_to("scapy_doip_client.py")
    assert read == {"activation": 0x10, "serial": "S01", "vin": VIN}
