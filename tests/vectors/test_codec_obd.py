"""OBD against the check values, section 2: values recomputed there from a stored public parameter table.

Where the table marks an independent program's reading as wrong, ours must differ from it.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import bitmaps, codes, current, monitor, readiness, vehicle_info
from asleft.codec.obd.readiness import MonitorKind as M
from asleft.codec.reply import Negative, read_reply
from asleft.model.trouble import CodeKind


def h(text: str) -> bytes:
    return bytes.fromhex(text)


def first(pid: int, data: str) -> float | None:
    return current.read_parameter(pid, h(data))[0].value


def test_table_of_raw_bytes(checks: Path) -> None:
    """All 63 rows of ``vectors/obd_mode01_scapy_vs_formula.csv``, unit included."""
    units = {"degC": "°C", "1/min": "rpm", "deg": "°", "": None}
    with (checks / "vectors" / "obd_mode01_scapy_vs_formula.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 63
    for row in rows:
        (value,) = current.read_parameter(int(row["pid"], 16), h(row["data"]))
        assert value.value == pytest.approx(float(row["formula_value"]), rel=2e-5, abs=1e-4), row
        unit = units.get(row["unit"], row["unit"])
        assert unit is None or value.unit == unit, row
        assert value.raw == h(row["data"])


@pytest.mark.parametrize(
    ("pid", "data", "value"),
    [
        (0x04, "FF", 100),
        (0x04, "80", 50.196),
        (0x05, "00", -40),
        (0x05, "28", 0),
        (0x05, "7B", 83),
        (0x05, "FF", 215),
        (0x06, "00", -100),
        (0x07, "70", -12.5),
        (0x08, "80", 0),
        (0x09, "81", 0.781),
        (0x09, "FF", 99.219),
        (0x0A, "64", 300),
        (0x0B, "1E", 30),
        (0x0B, "65", 101),
        (0x0C, "0BB8", 750),
        (0x0C, "1AF8", 1726),
        (0x0C, "FFFF", 16383.75),
        (0x0D, "3C", 60),
        (0x0E, "00", -64),
        (0x0E, "80", 0),
        (0x0E, "94", 10),
        (0x0E, "FF", 63.5),
        (0x0F, "46", 30),
        (0x10, "012C", 3.00),
        (0x10, "05DC", 15.00),
        (0x10, "FFFF", 655.35),
        (0x11, "26", 14.902),
        (0x11, "3F", 24.706),
        (0x11, "FF", 100),
        (0x1F, "012C", 300),
        (0x2F, "80", 50.196),
        (0x45, "80", 50.196),
        (0x47, "80", 50.196),
        (0x49, "26", 14.902),
        (0x4A, "26", 14.902),
        (0x4C, "40", 25.098),
        (0x33, "64", 100),
        (0x3C, "1194", 410.0),
        (0x42, "2EE0", 12.000),
        (0x42, "316A", 12.650),
        (0x42, "FFFF", 65.535),
        (0x43, "00C8", 78.431),
        (0x43, "00FF", 100),
        (0x43, "FFFF", 25700),
        (0x44, "8000", 1.0),
        (0x44, "7333", 0.89999),
        (0x46, "3C", 20),
        (0x5C, "6E", 70),
        (0x5E, "0064", 5.0),
    ],
)
def test_printed_values(pid: int, data: str, value: float) -> None:
    assert first(pid, data) == pytest.approx(value, abs=5.1e-4)


@pytest.mark.parametrize(
    ("pid", "data", "values"),
    [
        (0x14, "4080", [0.32, 0.0]),
        (0x34, "80008000", [1.0, 0.0]),  # an independent program forgets the offset of the current
        (0x66, "0105DC0000", [46.875, None]),
    ],
)
def test_several_quantities_in_one_parameter(pid: int, data: str, values: list[float | None]) -> None:
    assert [value.value for value in current.read_parameter(pid, h(data))] == values


@pytest.mark.parametrize(
    ("data", "start"),
    [
        ("00", "none"),
        ("01", "open"),
        ("02", "closed loop"),
        ("04", "open"),
        ("08", "open"),
        ("10", "closed loop, with"),
    ],
)
def test_fuel_system(data: str, start: str) -> None:
    """00 is none and 01 is open loop, not yet ready: an independent program has both wrong."""
    value = current.read_parameter(0x03, h(data + "00"))[0]
    assert value.word.startswith(start)
    assert value.value == float(h(data)[0])


def test_several_parameters_in_one_answer() -> None:
    parts = current.split_current(h("41057B0C1AF80D00"), [0x05, 0x0C, 0x0D])
    assert [current.read_parameter(pid, data)[0].value for pid, data in parts.items()] == [83, 1726, 0]


def test_air_flow_takes_both_bytes() -> None:
    """An independent program reads one byte of 10 and takes the other for a parameter."""
    parts = current.split_current(h("411005DC0C0BB8"), [0x10, 0x0C])
    assert parts == {0x10: h("05DC"), 0x0C: h("0BB8")}


class TestReadiness:
    def test_evaporative_open(self) -> None:
        status = readiness.read_readiness(h("82076504"))
        assert (status.lamp, status.codes, status.compression) == (True, 2, False)
        assert set(status.complete) == {
            M.MISFIRE, M.FUEL, M.COMPONENTS, M.CATALYST, M.EVAPORATIVE, M.OXYGEN_SENSOR, M.OXYGEN_HEATER
        }  # fmt: skip
        assert status.incomplete == (M.EVAPORATIVE,)

    def test_all_complete(self) -> None:
        status = readiness.read_readiness(h("0007E500"))
        assert (status.lamp, status.codes, status.incomplete) == (False, 0, ())

    def test_right_after_a_clear(self) -> None:
        status = readiness.read_readiness(h("81076D6D"))
        assert status.codes == 1
        assert set(status.incomplete) == {
            M.CATALYST, M.EVAPORATIVE, M.SECONDARY_AIR, M.OXYGEN_SENSOR, M.OXYGEN_HEATER
        }  # fmt: skip

    @pytest.mark.parametrize(
        ("bit", "spark", "compression"),
        [
            (7, M.EGR, M.EGR),
            (6, M.OXYGEN_HEATER, M.PARTICULATE_FILTER),
            (5, M.OXYGEN_SENSOR, M.EXHAUST_SENSOR),
            (4, M.AIR_CONDITIONING, None),
            (3, M.SECONDARY_AIR, M.BOOST),
            (2, M.EVAPORATIVE, None),
            (1, M.HEATED_CATALYST, M.NOX),
            (0, M.CATALYST, M.HYDROCARBON_CATALYST),
        ],
    )
    def test_every_bit(self, bit: int, spark: M, compression: M | None) -> None:
        assert readiness.read_readiness(bytes((0, 0, 1 << bit, 1 << bit))).complete == {spark: False}
        expected = {} if compression is None else {compression: True}
        assert readiness.read_readiness(bytes((0, 8, 1 << bit, 0))).complete == expected

    @pytest.mark.parametrize(("bit", "kind"), [(0, M.MISFIRE), (1, M.FUEL), (2, M.COMPONENTS)])
    def test_continuous_bits(self, bit: int, kind: M) -> None:
        assert readiness.read_readiness(bytes((0, 1 << bit | 0x10 << bit, 0, 0))).complete == {kind: False}
        assert readiness.read_readiness(bytes((0, 1 << bit, 0, 0))).complete == {kind: True}


@pytest.mark.parametrize(
    ("base", "data", "ids"),
    [
        (0x00, "BE3FA813", "01 03 04 05 06 07 0B 0C 0D 0E 0F 10 11 13 15 1C 1F 20"),
        (0x40, "FED08401", "41 42 43 44 45 46 47 49 4A 4C 51 56 60"),
        (0x20, "80018001", "21 30 31 40"),
        (0x00, "55400000", "02 04 06 08 0A"),
    ],
)
def test_support_bitmaps(base: int, data: str, ids: str) -> None:
    assert bitmaps.supported(base, h(data)) == frozenset(h(ids))


class TestVehicleInfo:
    def test_supported(self) -> None:
        assert vehicle_info.read_info(h("490055400000"), 0).supported == frozenset(h("020406080A"))

    def test_a_count_byte_in_the_bitmap_is_refused(self) -> None:
        """On CAN there is none; taking it for one shifts every type."""
        with pytest.raises(AnswerMalformed):
            vehicle_info.read_info(h("49000155400000"), 0)

    def test_vin(self) -> None:
        reply = h("49020131 47314A43 35343434 52373235 32333637")
        assert vehicle_info.read_info(reply, 2).texts == ("1G1JC5444R7252367",)

    def test_calibration(self) -> None:
        reply = h("490401") + b"JMB*36761500" + bytes(4)
        assert vehicle_info.read_info(reply, 4).texts == ("JMB*36761500",)

    def test_verification_number(self) -> None:
        assert vehicle_info.read_info(h("4906011791BC82"), 6).texts == ("1791BC82",)

    def test_module_name(self) -> None:
        reply = h("490A01") + b"ECM\x00-EngineControl\x00\x00"
        assert len(reply) == 23
        assert vehicle_info.read_info(reply, 0x0A).texts == ("ECM EngineControl",)


class TestCodes:
    def test_stored(self) -> None:
        assert codes.read_codes(h("43010143"), CodeKind.STORED) == ("P0143",)
        assert codes.read_codes(h("43020420D116"), CodeKind.STORED) == ("P0420", "U1116")
        assert codes.read_codes(h("4300"), CodeKind.STORED) == ()

    def test_pending_and_permanent(self) -> None:
        assert codes.read_codes(h("47010420"), CodeKind.PENDING) == ("P0420",)
        assert codes.read_codes(h("4A010420"), CodeKind.PERMANENT) == ("P0420",)

    def test_cleared(self) -> None:
        codes.read_cleared(h("44"))

    def test_freeze_frame(self) -> None:
        assert current.split_freeze(h("4205007B"), [0x05]) == {0x05: h("7B")}
        assert codes.freeze_code(current.split_freeze(h("4202000420"), [0x02])[0x02]) == "P0420"


def test_monitor_result() -> None:
    (test,) = monitor.read_monitor(h("4601010A0BB00BB00BB0"), 1)
    assert (test.value, test.low, test.high) == (pytest.approx(365.024),) * 3
    assert test.unit == "mV"
    assert test.within


@pytest.mark.parametrize(("request_", "reply", "code"), [("01FF", "7F0112", 0x12), ("0902", "7F0931", 0x31)])
def test_refused(request_: str, reply: str, code: int) -> None:
    answer = read_reply(h(request_), h(reply))
    assert isinstance(answer, Negative)
    assert answer.code == code
