"""udsoncan on stock can-isotp at the diesel and the electric car: codes written with access, isolation only read."""

from __future__ import annotations

import logging
from typing import Any

import pytest
import udsoncan
from udsoncan.client import Client
from udsoncan.exceptions import NegativeResponseException

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.diesel import DieselCar
from asleft.bench.cars.electric import ElectricCar
from asleft.bench.clock import StepClock
from asleft.bench.security import bench_key

from .conftest import StockConnection

logging.getLogger("udsoncan").setLevel(logging.CRITICAL)
logging.getLogger("UdsClient").setLevel(logging.CRITICAL)


class Code(udsoncan.DidCodec):
    """Eight characters."""

    def encode(self, *value: Any) -> bytes:
        return str(value[0]).encode("ascii")

    def decode(self, payload: bytes) -> str:
        return payload.decode("ascii")

    def __len__(self) -> int:
        return 8


def config(**identifiers: Any) -> dict[str, Any]:
    made = dict(udsoncan.configs.default_client_config)
    made["data_identifiers"] = {int(name[1:], 16): codec for name, codec in identifiers.items()}
    made["security_algo"] = lambda level, seed, params: bench_key(seed)
    made |= {"request_timeout": 20, "p2_timeout": 0.2, "use_server_timing": False}  # counted from the first frame on
    return made


def test_injector_codes_are_written_with_access(bus: InLoopBus, clock: StepClock) -> None:
    car = DieselCar(seed=2)
    car.attach(bus, clock)
    car.act("replace_injector", cylinder=3)
    car.act("key", position="on")
    clock.run_until(2.0)
    code = car.act("read_injector_label", cylinder=3)
    connection = StockConnection(bus, clock, 0x7E0, 0x7E8)
    with Client(connection, config=config(x9D11=Code, x9D12=Code)) as client:
        client.change_session(3)
        with pytest.raises(NegativeResponseException) as caught:
            client.write_data_by_identifier(0x9D12, code)
        assert caught.value.response.code == 0x33
        client.unlock_security_access(5)
        with pytest.raises(NegativeResponseException) as caught:
            client.write_data_by_identifier(
                0x9D12, code[:-2] + code[-1] + code[-2] if code[-1] != code[-2] else "2" * 8
            )
        assert caught.value.response.code == 0x31
        client.write_data_by_identifier(0x9D12, code)
        assert client.read_data_by_identifier([0x9D12]).service_data.values[0x9D12] == code
        client.start_routine(0x73C4)
        clock.run_until(clock.now() + 4.0)
        client.tester_present()
        clock.run_until(clock.now() + 2.0)
        assert client.get_routine_result(0x73C4).service_data.routine_status_record[:2] == b"\x02\x00"


def test_isolation_is_read_and_nothing_else_done(bus: InLoopBus, clock: StepClock) -> None:
    car = ElectricCar(seed=2)
    car.attach(bus, clock)
    car.act("key", position="ready")
    clock.run_until(80.0)
    with Client(StockConnection(bus, clock, 0x7B6, 0x7BE), config=config(xA1C0=">HB", xA1C3=">H")) as client:
        kohm, valid = client.read_data_by_identifier([0xA1C0]).service_data.values[0xA1C0]
        assert valid == 1
        assert kohm == pytest.approx(car.truth()["isolation, kΩ"], rel=0.03)
        client.change_session(3)
        for refused in (
            lambda: client.start_routine(0x0001),
            lambda: client.request_seed(1),
            lambda: client.write_data_by_identifier(0xA1C3, 1),
        ):
            with pytest.raises(NegativeResponseException) as caught:
                refused()
            assert caught.value.response.code == 0x11
