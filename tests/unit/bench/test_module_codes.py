"""Trouble codes of a bench module: rules, services 14 19 85, freeze frames; OBD services."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.identifiers import number
from asleft.bench.obd import Monitor, MonitorTest, Obd
from asleft.bench.obd_scaling import SCALES, encoder, narrow_sensor, support_bitmap, wide_sensor_current
from asleft.bench.service import refuse_if
from asleft.bench.trouble_memory import CONFIRMED, FAILED, LAMP, PENDING, TroubleCode, TroubleMemory

from .conftest import Stand

Make = Callable[..., Stand]
CODE = 0x217600
VIN = "1M8GDM9AXKP042788"


class Fault:
    """A fault that a test switches."""

    def __init__(self) -> None:
        self.there: bool | None = False

    def __call__(self) -> bool | None:
        return self.there


def one(fault: Fault, **rule: object) -> TroubleMemory:
    return TroubleMemory([TroubleCode(CODE, "idle position not learned", fault, **rule)])  # type: ignore[arg-type]


def cycle(memory: TroubleMemory, start_s: float, seconds: float = 5.0) -> None:
    """One operation cycle, polled ten times a second."""
    memory.cycle_start()
    for tick in range(round(seconds * 10)):
        memory.poll(start_s + tick / 10)
    memory.cycle_end()


def test_a_code_matures_after_its_time() -> None:
    fault = Fault()
    memory = one(fault, fail_s=1.0)
    fault.there = True
    for tick in range(10):
        memory.poll(tick / 10)
    assert memory.status(CODE) & FAILED == 0
    memory.poll(1.0)
    assert memory.status(CODE) == 0x2F


def test_a_short_fault_does_not_mature() -> None:
    fault = Fault()
    memory = one(fault, fail_s=1.0)
    for tick in range(100):
        fault.there = tick % 9 != 0
        memory.poll(tick / 10)
    assert memory.status(CODE) & FAILED == 0


def test_what_cannot_be_tested_stays_untested() -> None:
    fault = Fault()
    fault.there = None
    memory = one(fault)
    cycle(memory, 0.0)
    assert memory.status(CODE) == 0x50


def test_two_trips_to_confirm() -> None:
    fault = Fault()
    fault.there = True
    memory = one(fault, trips=2, lamp=True)
    cycle(memory, 0.0)
    assert memory.status(CODE) & (PENDING | CONFIRMED) == PENDING
    cycle(memory, 100.0)
    assert memory.status(CODE) & (PENDING | CONFIRMED | LAMP) == PENDING | CONFIRMED | LAMP


def test_a_pending_code_goes_after_a_good_cycle() -> None:
    fault = Fault()
    memory = one(fault, trips=2)
    fault.there = True
    cycle(memory, 0.0)
    fault.there = False
    cycle(memory, 100.0)
    assert memory.status(CODE) & (FAILED | PENDING | CONFIRMED) == 0
    fault.there = True
    cycle(memory, 200.0)
    assert memory.status(CODE) & CONFIRMED == 0


def test_lamp_heals_and_code_ages() -> None:
    fault = Fault()
    memory = one(fault, lamp=True, heal_cycles=3, age_cycles=4)
    fault.there = True
    cycle(memory, 0.0)
    fault.there = False
    seen = []
    for number_ in range(8):
        cycle(memory, 100.0 * (number_ + 1))
        seen.append((bool(memory.status(CODE) & LAMP), bool(memory.status(CODE) & CONFIRMED)))
    assert seen == [(True, True)] * 2 + [(False, True)] * 4 + [(False, False)] * 2


def test_a_failure_in_between_starts_healing_again() -> None:
    fault = Fault()
    memory = one(fault, lamp=True, heal_cycles=3)
    fault.there = True
    cycle(memory, 0.0)
    for good in (True, True, False, True, True):
        fault.there = not good
        cycle(memory, 100.0)
    assert memory.status(CODE) & LAMP


@given(st.lists(st.tuples(st.booleans(), st.sampled_from(["poll", "start", "end", "clear", "off", "on"])), max_size=60))
def test_status_bits_never_contradict_each_other(history: list[tuple[bool, str]]) -> None:
    """Failed implies tested and failed since clear; the lamp implies confirmed, that failed since clear."""
    fault = Fault()
    memory = one(fault, fail_s=0.2, pass_s=0.2, trips=2, heal_cycles=1, age_cycles=1, lamp=True)
    for moment, (there, act) in enumerate(history):
        fault.there = there
        match act:
            case "poll":
                memory.poll(moment / 10)
            case "start":
                memory.cycle_start()
            case "end":
                memory.cycle_end()
            case "clear":
                memory.clear()
            case other:
                memory.storing = other == "on"
        status = memory.status(CODE)
        assert not (status & 0x01) or status & 0x20
        assert not (status & 0x01) or not status & 0x10
        assert not (status & 0x02) or not status & 0x40
        assert not (status & 0x80) or status & 0x08
        assert not (status & 0x08) or status & 0x20


def test_codes_over_the_bus_mature_and_clear_and_come_back(stand: Make) -> None:
    fault = Fault()
    car = stand(
        codes=[TroubleCode(CODE, "a", fault, lamp=True), TroubleCode(0xD11600, "b")],
        identifiers=[number(0x0100, "volts", lambda: 12.5, scale=0.1, size=1)],
        snapshot=(0x0100,),
    )
    assert car.tester.ask("1902AF") == "5902ff"
    assert car.tester.ask("1902FF") == "5902ff21760050d1160050"
    fault.there = True
    car.tick(1.0)
    assert car.tester.ask("190109") == "5901ff010001"
    assert car.tester.ask("190209") == "5902ff217600af"
    assert car.tester.ask("190A") == "590aff217600afd1160050"
    assert car.tester.ask("1903") == "590321760001"
    assert car.tester.ask("190421760001") == "5904217600af010101007d"
    assert car.tester.ask("1904217600FF") == "5904217600af010101007d"
    assert car.tester.ask("1904D1160001") == "5904d1160050"
    assert car.tester.ask("190621760001") == "5906217600af0101"
    assert car.tester.ask("1906217600FF") == "5906217600af01010200"
    assert car.tester.ask("190621760033") == "7f1931"
    assert car.tester.ask("190412345601") == "7f1931"
    assert car.tester.ask("14FFFFFF") == "54"
    assert car.tester.ask("190209") == "5902ff"
    assert car.tester.ask("190421760001") == "590421760050"
    car.tick(1.0)
    assert car.tester.ask("190209") == "5902ff217600af"


def test_clearing_by_code_group_and_condition(stand: Make) -> None:
    running = [True]
    locked = TroubleCode(0x012300, "locked", clearable=lambda: 0x22)
    car = stand(
        codes=[TroubleCode(CODE, "a", emission=True), TroubleCode(0xC10000, "b")],
        clear_conditions=(refuse_if(lambda: running[0], 0x22),),
    )
    car.module.codes.report(CODE, failing=True)
    car.module.codes.report(0xC10000, failing=True)
    assert car.tester.ask("14FFFFFF") == "7f1422"
    running[0] = False
    assert car.tester.ask("14123456") == "7f1431"
    assert car.tester.ask("14FFFF") == "7f1413"
    assert car.tester.ask("14FFFF33") == "54"
    assert car.tester.ask("190208") == "5902ffc100002f"
    assert car.tester.ask("14C10000") == "54"
    assert car.tester.ask("190208") == "5902ff"
    assert stand(codes=[locked]).tester.ask("14FFFFFF") == "7f1422"


def test_no_code_is_stored_while_85_02_holds(stand: Make) -> None:
    fault = Fault()
    car = stand(codes=[TroubleCode(CODE, "a", fault)])
    car.tester.ask("1003")
    assert car.tester.ask("8502") == "c502"
    fault.there = True
    car.tick(1.0)
    assert car.tester.ask("190209") == "5902ff"
    assert car.tester.ask("8501") == "c501"
    car.tick(1.0)
    assert car.tester.ask("190209") == "5902ff2176002f"


def test_a_key_cycle_is_an_operation_cycle(stand: Make) -> None:
    fault = Fault()
    fault.there = True
    car = stand(codes=[TroubleCode(CODE, "a", fault, trips=2)])
    car.tick(1.0)
    assert car.tester.ask("190204") == "5902ff21760027"
    car.module.power_off()
    car.on()
    assert car.tester.ask("190204") == "5902ff21760065"
    car.tick(1.0)
    assert car.tester.ask("190208") == "5902ff2176002f"


# -- OBD ---------------------------------------------------------------------------------------------------------------


def obd_stand(stand: Make, fault: Fault | None = None, **more: object) -> Stand:
    world = {0x05: 83.0, 0x0C: 1726.0, 0x0D: 0.0, 0x42: 12.65}
    done = {"catalyst": False}
    obd = Obd(
        values={pid: (lambda value=value: value) for pid, value in world.items()},
        raw={0x1C: lambda: b"\x06"},
        monitors=(
            Monitor("misfire"),
            Monitor("fuel"),
            Monitor("components"),
            Monitor("catalyst", lambda: done["catalyst"], lambda: done.update(catalyst=False)),
            Monitor("oxygen sensor"),
        ),
        tests=(MonitorTest(0x01, 0x01, 0x0A, lambda: 0x0BB0, 0x0BB0, 0x0BB0),),
        vin=VIN,
        calibration_ids=("JMB*36761500",),
        verification_numbers=(0x1791BC82,),
        ecu_name="ECM-EngineControl",
        **more,  # type: ignore[arg-type]
    )
    made = stand(obd=obd, codes=[TroubleCode(0x042000, "catalyst", fault, lamp=True, emission=True, trips=2)])
    made.done = done  # type: ignore[attr-defined]
    return made


@pytest.mark.parametrize(
    ("request_hex", "answer"),
    [
        ("01050C0D", "41057b0c1af80d00"),
        ("0142", "4142316a"),
        ("011C", "411c06"),
        ("0100", "410088180011"),
        ("03", "4300"),
        ("07", "4700"),
        ("0A", "4a00"),
        ("0900", "490054400000"),
        ("0902", "490201" + VIN.encode().hex()),
        ("0904", "4904014a4d422a3336373631353030" + "00000000"),
        ("0906", "4906011791bc82"),
        ("090A", "490a0145434d002d456e67696e65436f6e74726f6c0000"),
        ("0600", "460080000000"),
        ("0601", "4601010a0bb00bb00bb0"),
        ("020000", "42000048180000"),
    ],
)
def test_obd_answers(stand: Make, request_hex: str, answer: str) -> None:
    """Bytes from checks section 2 where they stand there (VIN, calibration, CVN, name, values, service 06)."""
    assert obd_stand(stand).tester.ask(request_hex, functional=True) == answer


@pytest.mark.parametrize("request_hex", ["01FE", "0108", "0955", "0933", "0605", "020501"])
def test_obd_unsupported_is_silent_when_functional(stand: Make, request_hex: str) -> None:
    assert obd_stand(stand).tester.ask(request_hex, functional=True) == ""


def test_obd_unsupported_is_refused_when_physical(stand: Make) -> None:
    assert obd_stand(stand).tester.ask("01FE") == "7f0112"


def test_obd_readiness_and_codes_follow_the_memory(stand: Make) -> None:
    fault = Fault()
    car = obd_stand(stand, fault)
    assert car.tester.ask("0101", functional=True) == "410100072101"
    car.done["catalyst"] = True  # type: ignore[attr-defined]
    assert car.tester.ask("0101", functional=True) == "410100072100"
    fault.there = True
    car.tick(1.0)
    assert car.tester.ask("07", functional=True) == "47010420"
    assert car.tester.ask("03", functional=True) == "4300"
    assert car.tester.ask("02020005000C00", functional=True) == "420200042005007b0c001af8"
    car.module.power_off()
    car.on()
    car.tick(1.0)
    assert car.tester.ask("03", functional=True) == "43010420"
    assert car.tester.ask("0A", functional=True) == "4a010420"
    assert car.tester.ask("0101", functional=True) == "410181072100"
    fault.there = False
    car.tick(2.0)
    assert car.tester.ask("04", functional=True) == "44"
    assert car.tester.ask("03", functional=True) == "4300"
    assert car.tester.ask("0101", functional=True) == "410100072101"
    assert car.tester.ask("020200", functional=True) == "4202000000"
    assert car.tester.ask("0A", functional=True) == "4a010420"
    car.tick(2.0)
    car.module.power_off()
    car.on()
    assert car.tester.ask("0A", functional=True) == "4a00"


def test_obd_clear_refuses_by_condition(stand: Make) -> None:
    car = obd_stand(stand, can_clear=lambda: 0x22)
    assert car.tester.ask("04", functional=True) == "7f0422"


#: PID, value, bytes. Source: checks section 2 (public PID table of SAE J1979, recomputed).
PUBLISHED = [
    (0x04, 50.196, "80"),
    (0x05, 215, "FF"),
    (0x06, -12.5, "70"),
    (0x07, 0.781, "81"),
    (0x0A, 300, "64"),
    (0x0B, 101, "65"),
    (0x0C, 750, "0BB8"),
    (0x0E, 10, "94"),
    (0x10, 3.0, "012C"),
    (0x11, 14.902, "26"),
    (0x1F, 300, "012C"),
    (0x33, 100, "64"),
    (0x3C, 410.0, "1194"),
    (0x42, 12.65, "316A"),
    (0x43, 78.431, "00C8"),
    (0x44, 0.9, "7333"),
    (0x46, 20, "3C"),
    (0x4C, 25.098, "40"),
    (0x5C, 70, "6E"),
    (0x5E, 5.0, "0064"),
]


@pytest.mark.parametrize(("pid", "value", "raw"), PUBLISHED)
def test_obd_scaling_as_published(pid: int, value: float, raw: str) -> None:
    assert encoder(pid)(value) == bytes.fromhex(raw)


def test_obd_sensor_pairs_as_published() -> None:
    assert narrow_sensor(0.32, 0.0) == bytes.fromhex("4080")
    assert narrow_sensor(0.32) == bytes.fromhex("40FF")
    assert wide_sensor_current(1.0, 0.0) == bytes.fromhex("80008000")


def test_obd_support_bitmap_as_published() -> None:
    """41 00 BE 3F A8 13 and 41 20 80 01 80 01 (checks section 2)."""
    first = {0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F}
    assert support_bitmap(first | {0x21}, 0x00) == bytes.fromhex("BE3FA813")
    assert support_bitmap({0x21, 0x30, 0x31, 0x41}, 0x20) == bytes.fromhex("80018001")


@given(st.sampled_from(sorted(SCALES)), st.floats(allow_nan=False, allow_infinity=False))
def test_obd_values_never_leave_their_bytes(pid: int, value: float) -> None:
    assert len(encoder(pid)(value)) == SCALES[pid].size
