"""scapy, on python-can's stock interface and in a process of its own, reads the hosted petrol car correctly."""

from __future__ import annotations

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

from asleft.bench.client import HostedCar

SCRIPT = Path(__file__).with_name("scapy_client.py")


async def read_car() -> tuple[dict[str, Any], dict[str, Any]]:
    async with HostedCar("petrol", seed=3, truth=True) as host:
        await host.driver.act("key", position="on")
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            str(SCRIPT),
            str(host.port),
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
        )
        output, errors = await asyncio.wait_for(process.communicate(), 30)
        assert process.returncode == 0, errors.decode()
        return json.loads(output), await host.driver.truth()


def test_scapy_reads_the_hosted_car() -> None:
    read, truth = asyncio.run(read_car())
    assert read["vin"] == read["obd vin"] == truth["vin"]
    assert (read["session"], read["times"]) == (3, "003201f4")
    assert read["codes"] > 0
    assert read["refusal"] == 0x31
    assert abs(read["coolant"] - truth["coolant, °C"]) <= 2.0
    assert read["rpm"] == 0.0
