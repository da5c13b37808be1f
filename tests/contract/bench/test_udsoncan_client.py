"""udsoncan's own client on stock can-isotp reads, writes and runs a bench module correctly (ISO 14229-1)."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
import udsoncan
from udsoncan.client import Client
from udsoncan.exceptions import NegativeResponseException
from udsoncan.services import DiagnosticSessionControl, ECUReset

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import background_load
from asleft.bench.clock import StepClock
from asleft.bench.identifiers import Write, number, stored, text
from asleft.bench.module import Address, ControlModule
from asleft.bench.routines import Routine
from asleft.bench.security import SecurityLevel, bench_key
from asleft.bench.trouble_memory import TroubleCode

from .conftest import StockConnection

VIN = "1M8GDM9AXKP042788"
logging.getLogger("udsoncan").setLevel(logging.CRITICAL)
logging.getLogger("UdsClient").setLevel(logging.CRITICAL)


class AsciiCodec(udsoncan.DidCodec):
    def __init__(self, length: int) -> None:
        self.length = length

    def encode(self, *value: object) -> bytes:
        return str(value[0]).encode("ascii")

    def decode(self, payload: bytes) -> str:
        return payload.decode("ascii")

    def __len__(self) -> int:
        return self.length


def make_module(address: Address) -> ControlModule:
    return ControlModule(
        "engine",
        address,
        identifiers=[
            text(0xF190, "VIN", VIN),
            number(0x0100, "supply", lambda: 12.65, scale=0.001),
            stored(0x0200, "variant", b"AB", write=Write(level=1)),
            stored(0x0201, "slow", b"ABCDEFGHIJ", write=Write(takes_s=7.0)),
        ],
        routines=[Routine(0x0301, "learn", takes_s=1.0, result=lambda: b"\x2a")],
        codes=[TroubleCode(0x217600, "a", lambda: True), TroubleCode(0xC10087, "b")],
        snapshot=(0x0100,),
        security=[SecurityLevel(0x01)],
    )


@pytest.fixture(params=["11 bit", "29 bit"])
def client(request: pytest.FixtureRequest, bus: InLoopBus, clock: StepClock) -> Iterator[Client]:
    """A client on a bus with half its time taken by others."""
    address = Address.normal(0x7E0, 0x7E8) if request.param == "11 bit" else Address.fixed(0x10)
    module = make_module(address)
    module.attach(bus, clock)
    background_load(bus, clock, 0.5)
    module.power_on()
    for tick in range(20):
        clock.call_at(tick * 0.1, module.poll)
    clock.run_until(2.0)
    config = dict(udsoncan.configs.default_client_config)
    config["data_identifiers"] = {
        0xF190: AsciiCodec(17),
        0x0100: ">H",
        0x0200: AsciiCodec(2),
        0x0201: AsciiCodec(10),
    }
    config["security_algo"] = lambda level, seed, params: bench_key(seed)
    config["request_timeout"] = 20
    connection = StockConnection(bus, clock, address.request, address.response, extended=address.extended)
    with Client(connection, config=config) as made:
        made.module = module  # type: ignore[attr-defined]
        yield made


def refused(client: Client, code: int, call: object, *arguments: object) -> None:
    with pytest.raises(NegativeResponseException) as caught:
        call(*arguments)  # type: ignore[operator]
    assert caught.value.response.code == code


def test_reads_identifiers(client: Client) -> None:
    values = client.read_data_by_identifier([0xF190, 0x0100]).service_data.values
    assert values[0xF190] == VIN
    assert values[0x0100] == (12650,)


def test_sessions_tell_their_times(client: Client) -> None:
    answer = client.change_session(DiagnosticSessionControl.Session.extendedDiagnosticSession).service_data
    assert (answer.p2_server_max, answer.p2_star_server_max) == (0.05, 5.0)


def test_writes_after_security_access(client: Client) -> None:
    refused(client, 0x7F, client.write_data_by_identifier, 0x0200, "CD")
    client.change_session(3)
    refused(client, 0x33, client.write_data_by_identifier, 0x0200, "CD")
    client.unlock_security_access(1)
    client.write_data_by_identifier(0x0200, "CD")
    assert client.read_data_by_identifier([0x0200]).service_data.values[0x0200] == "CD"


def test_waits_through_response_pending(client: Client) -> None:
    client.change_session(3)
    start_s = client.conn.clock.now()
    client.write_data_by_identifier(0x0201, "0123456789")
    assert client.conn.clock.now() - start_s == pytest.approx(7.0, abs=0.1)


def test_runs_a_routine(client: Client) -> None:
    client.change_session(3)
    assert client.start_routine(0x0301).service_data.routine_status_record[:1] == b"\x01"
    client.conn.clock.run_until(client.conn.clock.now() + 1.1)
    result = client.get_routine_result(0x0301).service_data
    assert result.routine_id_echo == 0x0301
    assert result.routine_status_record == b"\x02\x00\x2a"
    refused(client, 0x31, client.start_routine, 0x9999)


def test_reads_and_clears_codes(client: Client) -> None:
    codes = client.get_dtc_by_status_mask(0x09).service_data.dtcs
    assert [(code.id, code.id_iso(), code.status.get_byte_as_int()) for code in codes] == [(0x217600, "P2176-00", 0x2F)]
    assert client.get_number_of_dtc_by_status_mask(0x08).service_data.dtc_count == 1
    assert [code.id for code in client.get_supported_dtc().service_data.dtcs] == [0x217600, 0xC10087]
    frame = client.get_dtc_snapshot_by_dtc_number(0x217600, 0x01).service_data.dtcs[0].snapshots[0]
    assert (frame.did, frame.data) == (0x0100, (12650,))
    client.clear_dtc(0xFFFFFF)
    assert client.get_dtc_by_status_mask(0x09).service_data.dtcs == []
    refused(client, 0x31, client.clear_dtc, 0x123456)


def test_extended_record(client: Client) -> None:
    client.config["extended_data_size"] = 1
    code = client.get_dtc_extended_data_by_dtc_number(0x217600, 0x01, data_size=1).service_data.dtcs[0]
    assert (code.extended_data[0].record_number, code.extended_data[0].raw_data) == (1, b"\x01")


def test_switches_and_restarts(client: Client) -> None:
    client.change_session(3)
    client.control_dtc_setting(2)
    client.communication_control(3, 1)
    client.tester_present()
    client.ecu_reset(ECUReset.ResetType.hardReset)
    assert not client.module.awake  # type: ignore[attr-defined]
    client.conn.clock.run_until(client.conn.clock.now() + 1.0)
    assert client.module.session == 1  # type: ignore[attr-defined]
