"""A conversation over real threads and real time: python-can's interfaces carry what the in-loop bus carries."""

from __future__ import annotations

import asyncio
import os

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import real_clock
from asleft.link.address import make_link
from asleft.link.python_can import PythonCanBus
from asleft.live.sampler import LinkSignals
from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin
from asleft.model.reading import Quality
from asleft.talk.conversations import Conversations

BODY = ModuleAddress("body", 0x6C4, 0x6C5)


@pytest.mark.parametrize(("interface", "channel"), [("virtual", "asleft-talk"), ("udp_multicast", "239.74.163.2")])
def test_a_bench_car_answers_over_python_can(interface: str, channel: str) -> None:
    """VIN of a slow module (flow control with separation time), live values, and a closed link afterwards."""

    async def main() -> None:
        clock = real_clock()
        port = 30_000 + os.getpid() % 30_000
        options = {"port": port} if interface == "udp_multicast" else {}
        far = PythonCanBus(interface, channel, 500_000, clock, options=options)
        await far.open()
        car = PetrolCar(seed=5)
        car.attach(far, clock)
        car.act("key", position="on")
        query = f"&option.port={port}" if options else ""
        link = make_link(f"can:{interface}:{channel}?bitrate=500000{query}", clock)
        try:
            await link.open()
            await clock.sleep_until(clock.now() + 0.9)
            async with Conversations(link, clock, lambda _: None) as talk:
                assert talk.origin is Origin.VEHICLE
                answer = await talk.ask(BODY, bytes.fromhex("22F190"))
                assert answer[3:].decode() == car.vin
                (supply,) = await LinkSignals(talk, clock).read(["control-module-voltage"])
                assert supply.quality is Quality.GOOD
                assert supply.value is not None
                assert 11.0 < supply.value < 13.5
        finally:
            await link.close()
            car.detach()
            await far.close()

    asyncio.run(main())
