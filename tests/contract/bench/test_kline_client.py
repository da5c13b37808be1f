"""A small separate client reads a KWP2000 module over the virtual serial port, in real time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import pytest

from asleft.bench.client import HostedCar
from asleft.bench.clock import HostClock
from asleft.bench.identifiers import number, text
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule, KwpTiming
from asleft.bench.obd import Obd
from asleft.bench.pty_line import PtyLine
from asleft.bench.trouble_memory import TroubleCode
from kit.kline_client import KLineClient


def with_client(work: Callable[[KLineClient], Any]) -> Any:
    """Serve a module on a serial port in this loop while ``work`` talks to it from a thread."""

    async def story() -> Any:
        clock = HostClock()
        line = KLine(clock, level_tolerance_s=0.2)
        module = KwpModule(
            "engine",
            0x11,
            identifiers=[
                text(0x9B, "part", "ENG-0117"),
                number(0x05, "coolant", lambda: 83.0, scale=1, offset=-40, size=1),
            ],
            codes=[TroubleCode(0x014300, "a", emission=True)],
            obd=Obd(values={0x05: lambda: 83.0}, vin="1M8GDM9AXKP042788"),
            timing=KwpTiming(boot_s=0.0),
        )
        module.attach_line(line, clock)
        module.power_on()
        module.codes.report(0x014300, failing=True)
        port = PtyLine(line)
        client = KLineClient(port.path)
        try:
            return await asyncio.to_thread(work, client)
        finally:
            client.close()
            port.close()
            port.close()
            module.detach()

    return asyncio.run(story())


def test_starts_fast_and_reads() -> None:
    """Start, part number, a value, codes, OBD by function: bytes of checks section 3."""

    def work(client: KLineClient) -> list[bytes | None]:
        return [
            client.ask(b"\x1a\x9b", limit_s=0.2),
            client.fast_start(),
            client.ask(b"\x1a\x9b"),
            client.ask(b"\x21\x05"),
            client.ask(b"\x18\x00\xff\x00"),
            client.ask(b"\x01\x05", functional=True),
            client.ask(b"\x22\xf1\x90"),
            client.ask(b"\x3e"),
            client.ask(b"\x82"),
            client.ask(b"\x3e", limit_s=0.2),
        ]

    assert with_client(work) == [
        None,
        b"\xc1\xef\x8f",
        b"\x5a\x9bENG-0117",
        b"\x61\x05\x7b",
        b"\x58\x01\x01\x43\x60",
        b"\x41\x05\x7b",
        b"\x7f\x22\x11",
        b"\x7e",
        b"\xc2",
        None,
    ]


def test_a_wrong_baud_rate_gives_a_spoiled_echo() -> None:
    def work(client: KLineClient) -> None:
        client.set_baud(9600)
        client.ask(b"\x81")

    with pytest.raises(RuntimeError, match="echo"):
        with_client(work)


def test_a_start_that_is_too_short_wakes_nobody() -> None:
    def work(client: KLineClient) -> bytes | None:
        client.set_baud(600)  # 15 ms low
        client.send(b"\x00")
        client.set_baud(10_400)
        return client.ask(b"\x81", pause_s=0.1, limit_s=0.3)

    assert with_client(work) is None


def test_reads_the_hosted_older_car() -> None:
    """Everything on its serial port: start, identification, OBD by function; silent with the key off."""

    async def story() -> None:
        async with HostedCar("cable", seed=2, truth=True) as host:
            assert host.serial is not None
            client = KLineClient(host.serial)
            try:
                assert await asyncio.to_thread(client.fast_start) is None
                await host.driver.act("key", position="on")
                await asyncio.sleep(0.6)
                assert await asyncio.to_thread(client.fast_start) == b"\xc1\xef\x8f"
                coolant = await asyncio.to_thread(lambda: client.ask(b"\x01\x05", functional=True))
                truth = await host.driver.truth()
                assert coolant is not None
                assert coolant[:2] == b"\x41\x05"
                assert abs(coolant[2] - 40 - truth["coolant, °C"]) <= 2.0
            finally:
                client.close()

    asyncio.run(story())
