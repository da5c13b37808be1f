"""Independent clients at the plug of the estate: stock can-isotp under udsoncan, and scapy, through its gateway."""

from __future__ import annotations

import asyncio
import json
import logging
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import udsoncan
from udsoncan.client import Client
from udsoncan.exceptions import NegativeResponseException

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.estate import EstateCar
from asleft.bench.client import HostedCar
from asleft.bench.clock import StepClock
from asleft.bench.module import ControlModule

from .conftest import StockConnection

SCRIPT = Path(__file__).with_name("scapy_client.py")
logging.getLogger("udsoncan").setLevel(logging.CRITICAL)
logging.getLogger("UdsClient").setLevel(logging.CRITICAL)


class Text(udsoncan.DidCodec):
    """All that is there, as text."""

    def decode(self, payload: bytes) -> str:
        return payload.decode("ascii")

    def __len__(self) -> int:
        raise udsoncan.DidCodec.ReadAllRemainingData


CONFIG = dict(udsoncan.configs.default_client_config) | {"data_identifiers": {0xF190: Text, 0xF187: Text}}


@pytest.fixture
def car(bus: InLoopBus, clock: StepClock) -> Iterator[EstateCar]:
    made = EstateCar(seed=3)
    made.attach(bus, clock)
    made.act("key", position="on")
    clock.run_until(3.0)
    yield made
    made.detach()


def connect(car: EstateCar, bus: InLoopBus, clock: StepClock, name: str) -> StockConnection:
    where = car.module(name).address
    return StockConnection(bus, clock, where.request, where.response, extended=where.extended)


def test_every_module_is_read_through_the_gateway(car: EstateCar, bus: InLoopBus, clock: StepClock) -> None:
    """VIN (F190) of all 48, one after another; 47 of them stand on inner buses."""
    for module in car.modules:
        assert isinstance(module, ControlModule)
        with Client(connect(car, bus, clock, module.name), config=CONFIG) as client:
            assert client.read_data_by_identifier([0xF190]).service_data.values[0xF190] == car.vin
    assert car.wired_gateway.counts.passed == 47
    assert all(inner.counts.frames > 0 for inner in car.buses.values())


def ask_all(car: EstateCar, bus: InLoopBus, clock: StepClock) -> tuple[int, int, int]:
    """Ask all modules for their part (F187) at once; how many answered, said busy (21), stayed silent."""
    connections = [connect(car, bus, clock, module.name) for module in car.modules]
    for connection in connections:
        connection.specific_send(b"\x22\xf1\x87")
    clock.run_until(clock.now() + 4.0)
    answers = [bytes(c.stack.recv() or b"") if c.stack.available() else b"" for c in connections]
    for connection in connections:
        connection.close()
    return sum(a[:1] == b"\x62" for a in answers), answers.count(b"\x7f\x22\x21"), answers.count(b"")


def test_all_at_once_wait_in_the_gateway_and_are_answered(car: EstateCar, bus: InLoopBus, clock: StepClock) -> None:
    assert ask_all(car, bus, clock) == (48, 0, 0)
    assert car.wired_gateway.counts.queued > 30


@pytest.mark.parametrize(("fault", "spoilt"), [("gateway refuses beyond", 1), ("gateway drops beyond", 2)])
def test_a_gateway_that_holds_less(car: EstateCar, bus: InLoopBus, clock: StepClock, fault: str, spoilt: int) -> None:
    """What it drops stays out, what it refuses says busy; asked one after another everybody answers even so."""
    car.act("fault", name=fault, size=2.0)
    counts = ask_all(car, bus, clock)
    assert counts[0] < 20
    assert counts[spoilt] == 48 - counts[0]
    with Client(connect(car, bus, clock, "roof"), config=CONFIG) as client:
        assert client.read_data_by_identifier([0xF190]).service_data.values[0xF190] == car.vin
    car.act("mend", name=fault)
    assert ask_all(car, bus, clock) == (48, 0, 0)


def test_a_refusal_comes_through(car: EstateCar, bus: InLoopBus, clock: StepClock) -> None:
    with (
        Client(connect(car, bus, clock, "radio"), config=CONFIG) as client,
        pytest.raises(NegativeResponseException) as caught,
    ):
        client.change_session(0x40)
    assert caught.value.response.code == 0x12


def test_scapy_reads_the_engine_module_of_the_hosted_estate() -> None:
    """In processes of their own, in real time: request and answer pass the gateway between two kinds of bus."""

    async def story() -> tuple[dict[str, object], dict[str, object]]:
        async with HostedCar("estate", seed=3, truth=True) as host:
            await host.driver.act("key", position="on")
            await asyncio.sleep(0.6)
            process = await asyncio.create_subprocess_exec(
                sys.executable, str(SCRIPT), str(host.port), stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
            )  # fmt: skip
            output, errors = await asyncio.wait_for(process.communicate(), 30)
            assert process.returncode == 0, errors.decode()
            return json.loads(output), await host.driver.truth()

    read, truth = asyncio.run(story())
    assert read["vin"] == read["obd vin"] == truth["vin"]
    assert read["refusal"] == 0x31
