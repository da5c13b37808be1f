"""The estate: forty-eight modules, zeros learned right and wrong, what two headings and a straight drive show."""

from __future__ import annotations

import json
from collections.abc import Callable
from statistics import fmean, pstdev

import pytest
from vininfo import Vin

from asleft.bench.cars.estate import EstateCar
from asleft.bench.cars.estate_table import ROWS
from asleft.bench.routines import RoutineState
from asleft.model.errors import InputError
from kit.estate_bay import Bay


def test_forty_eight_modules_identify_themselves_and_are_content():
    bay = Bay()
    bay.do("key", 3.0, position="on")
    modules = bay.car.modules
    assert len(modules) == 48
    assert len({module.peek(0xF18C) for module in modules}) == 48
    assert len({(module.address.request, module.address.extended) for module in modules}) == 48
    assert {module.peek(0xF190).decode() for module in modules} == {bay.car.vin}
    assert bay.codes() == {}


@pytest.mark.parametrize("seed", range(4))
def test_vin_is_valid_and_of_no_maker(seed: int):
    vin = Vin(EstateCar(seed).vin)
    assert vin.verify_checksum()
    assert vin.manufacturer == "UnsupportedBrand"


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.full) for seed in (1, 2))])
def test_a_new_yaw_sensor_wants_its_zero(seed: int):
    """Code with failure type 54 until learned; on a level floor everything is then right."""
    bay = Bay(seed)
    bay.do("replace_yaw_sensor")
    bay.do("key", 3.0, position="on")
    assert "506354" in bay.codes()["stability"]
    assert bay.zero_yaw() == "flashing"
    bay.wait(1.5)
    assert bay.codes() == {}
    assert abs(fmean(bay.values("stability", 0x4D11, 0.01, 5.0))) < 0.1
    truth = bay.car.truth()
    assert abs(truth["yaw bias left, °/s"]) < 0.1
    assert abs(truth["side bias left, m/s²"]) < 0.03


def test_a_zero_on_a_slope_reads_zero_there_and_is_found_out_by_turning_round():
    """1.5° of floor is 0.26 m/s² (trade): yaw is right, acceleration wrong by the slope, and two headings show it."""
    bay = Bay(2)
    bay.do("replace_yaw_sensor")
    bay.do("place", slope_deg=1.5, uphill_deg=90.0)
    bay.do("key", 3.0, position="on")
    assert bay.zero_yaw() == "flashing"
    here = fmean(bay.values("stability", 0x4D12, 0.001, 5.0))
    assert abs(here) < 0.03
    assert abs(fmean(bay.values("stability", 0x4D11, 0.01, 5.0))) < 0.1
    bay.do("turn_round", 1.0)
    there = fmean(bay.values("stability", 0x4D12, 0.001, 5.0))
    assert (here + there) / 2.0 == pytest.approx(-0.257, abs=0.03)
    assert bay.car.truth()["side bias left, m/s²"] == pytest.approx(-0.257, abs=0.03)


def test_a_straight_drive_shows_the_hand_wheel_and_the_yaw_zero():
    """At 60 km/h straight ahead: angle and yaw rate near zero on a sound car, angle off by what the toe is off."""
    sound, off = Bay(3), Bay(3, "hand wheel not straight")
    off.set()
    means: list[tuple[float, float]] = []
    for bay in (sound, off):
        bay.drive(60.0, 30.0)
        assert 50.0 < bay.car.truth()["speed, km/h"] < 70.0
        angle = bay.values("steering angle", 0x4D31, 0.1, 10.0)
        yaw = bay.values("stability", 0x4D11, 0.01, 10.0)
        means.append((fmean(angle), fmean(yaw)))
        assert pstdev(angle) < 1.5
    assert abs(means[0][0]) < 1.0
    assert abs(means[0][1]) < 0.25
    assert means[1][0] - means[0][0] == pytest.approx(3.0, abs=0.8)
    assert abs(means[1][1]) < 0.25


def test_the_camera_learns_what_the_target_shows_and_the_road_finds_out_a_wrong_one():
    bay = Bay(1)
    bay.do("replace_windscreen")
    bay.do("key", 3.0, position="on")
    assert "9A7054" in bay.codes()["camera"]
    assert bay.routine("camera", 0x5C21, 9.0) == RoutineState.REFUSED  # no target
    bay.do("place_target", aside_mm=50.0)
    assert bay.routine("camera", 0x5C21, 9.0) == RoutineState.STORED
    assert bay.car.truth()["camera aim left, °"][0] == pytest.approx(-0.82, abs=0.03)  # atan(50/3500)
    bay.do("remove_target")
    bay.drive(60.0, 30.0)
    assert "9A7078" in bay.codes()["camera"]
    assert bay.routine("camera", 0x5C22, 70.0) == RoutineState.STORED
    assert bay.car.truth()["camera aim left, °"] == pytest.approx([0.0, 0.0], abs=1e-6)


def test_ride_height_follows_what_was_measured():
    """A new strut's sensor reads wrong: it levels crooked until the tape's values are written."""
    bay = Bay(1)
    bay.do("charger", on=True)
    bay.do("replace_strut", corner=1)
    bay.do("key", 3.0, position="on")
    assert "550054" in bay.codes()["suspension"]
    assert bay.routine("suspension", 0x5C11, 16.0) == RoutineState.STORED
    crooked = bay.car.truth()["heights, mm"]
    assert abs(crooked[1] - 382.0) > 5.0
    bay.ask("suspension", "1003")
    tape = b"".join(round(height).to_bytes(2, "big") for height in crooked)
    assert bay.ask("suspension", "2E4E12" + tape.hex())[0] == 0x6E
    assert bay.routine("suspension", 0x5C11, 16.0) == RoutineState.STORED
    assert bay.car.truth()["heights, mm"] == pytest.approx([382.0] * 4, abs=1.0)
    assert bay.codes() == {}


def test_steering_assist_learns_locks_by_hand_and_torque_with_hands_off():
    bay = Bay(1)
    bay.do("key", 3.0, position="on")
    assert bay.routine("steering assist", 0x5B31, 1.0) == 0x84
    bay.do("key", 20.0, position="start")
    bay.do("hands", newton_metre=0.8)
    assert bay.routine("steering assist", 0x5B31, 6.0) == RoutineState.STORED
    bay.do("hands", newton_metre=0.0)
    assert fmean(bay.values("steering assist", 0x4D41, 0.01, 3.0)) == pytest.approx(-0.8, abs=0.1)
    assert bay.routine("steering assist", 0x5B31, 6.0) == RoutineState.STORED
    assert abs(fmean(bay.values("steering assist", 0x4D41, 0.01, 3.0))) < 0.05
    bay.ask("steering assist", "1003")
    bay.ask("steering assist", "31015B32")
    for degrees in (505.0, -505.0, 0.0):
        bay.do("steer", 2.5, degrees=degrees)
        bay.ask("steering assist", "3E00")
        bay.wait(2.5)
        bay.ask("steering assist", "3E00")
    assert bay.ask("steering assist", "31035B32")[4] == RoutineState.STORED


@pytest.mark.parametrize(
    ("module", "rid", "spoil", "nrc"),
    [
        ("transmission", 0x5C41, lambda bay: None, 0x84),
        ("transmission", 0x5C41, lambda bay: bay.do("key", 5.0, position="start"), 0x87),
        ("parking brake", 0x5C31, lambda bay: bay.do("key", 5.0, position="start"), 0x83),
        ("stability", 0x5B12, lambda bay: bay.do("brake", pressed=True), 0x22),
        ("suspension", 0x5C11, lambda bay: (bay.do("charger", 30.0, on=True), bay.do("doors", shut=False)), 0x22),
        ("restraints", 0x5D01, lambda bay: None, 0x11),
    ],
)
def test_modules_refuse_by_condition(module: str, rid: int, spoil: Callable[[Bay], object], nrc: int):
    """Refusals of ISO 14229-1 annex A (numbers recalled); the restraint module has no routines at all."""
    bay = Bay(1, warm=False)
    bay.do("key", 3.0, position="on")
    spoil(bay)
    assert bay.routine(module, rid, 1.0) == nrc


def test_the_restraint_module_takes_no_writes():
    bay = Bay(1)
    bay.do("key", 3.0, position="on")
    bay.ask("restraints", "1003")
    for request in (f"2E{ROWS['restraints'].coding_did:04X}000000", "2701", "31010001", "2F010203"):
        assert bay.ask("restraints", request)[:1] == b"\x7f"


def test_a_saved_car_goes_on_the_same():
    one = Bay(2)
    one.do("replace_yaw_sensor")
    one.do("place", slope_deg=1.0, uphill_deg=30.0)
    one.do("key", 3.0, position="on")
    other = EstateCar(2, warm=True)
    other.restore(json.loads(json.dumps(one.car.save())))
    assert other.truth() == one.car.truth()


@pytest.mark.parametrize(
    ("act", "args"),
    [("drive", {"km_h": 50.0}), ("steer", {"degrees": 900.0}), ("set_tyres", {"kilopascal": [1.0]})],
)
def test_acts_that_cannot_be_done_say_why(act: str, args: dict[str, object]):
    with pytest.raises(InputError):
        Bay().car.act(act, **args)
