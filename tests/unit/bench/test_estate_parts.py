"""The estate's further functions: each learns by its own physics, refuses by code, shows its consequence elsewhere."""

from __future__ import annotations

import json
import struct
from statistics import fmean

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.estate import EstateCar
from asleft.bench.cars.estate_battery import record
from asleft.bench.cars.estate_gateway import bits_of
from asleft.bench.cars.estate_table import ROWS
from asleft.bench.cars.petrol_side import checksum
from asleft.bench.clock import StepClock
from asleft.bench.routines import RoutineState
from asleft.bench.security import bench_key
from asleft.model.errors import InputError
from kit.estate_bay import Bay

STORED, REFUSED = RoutineState.STORED, RoutineState.REFUSED


def ready(seed: int = 1, fault: str | None = None, **fault_size: float) -> Bay:
    """Key on, a support unit connected."""
    bay = Bay(seed)
    bay.do("charger", 2.0, on=True)
    if fault is not None:
        bay.do("fault", name=fault, **fault_size)
    bay.do("key", 3.0, position="on")
    return bay


def opened(bay: Bay, module: str) -> None:
    """Extended session, access open."""
    bay.ask(module, "1003")
    seed = bay.ask(module, "2701")[2:]
    assert bay.ask(module, "2702" + bench_key(seed).hex())[0] == 0x67


# -- yaw rate and acceleration: seen on a lamp only -------------------------------------------------------------------


def test_only_the_lamp_tells_of_the_zero():
    bay = ready(1)
    bay.do("key", 2.0, position="off")
    bay.do("replace_yaw_sensor")
    bay.do("key", 3.0, position="on")
    bay.wait(1.0)
    assert bay.car.act("look_at_lamp") == "on"
    assert bay.zero_yaw() == "flashing"
    bay.wait(9.0)
    assert bay.car.act("look_at_lamp") == "on"  # the stored code, until it is cleared
    bay.ask("stability", "14FFFFFF")
    bay.wait(1.0)
    assert bay.car.act("look_at_lamp") == "off"


@pytest.mark.parametrize(("fault", "lamp"), [("yaw sensor noisy", "off"), ("stability lamp dead", "off")])
def test_a_zero_refused_or_a_dead_lamp_is_not_told_apart_by_the_module(fault: str, lamp: str):
    bay = ready(1, fault)
    assert bay.zero_yaw() == lamp


def test_a_level_shows_the_floor_and_not_the_sensor():
    bay = ready(2)
    bay.do("place", slope_deg=1.5, uphill_deg=90.0)
    bay.do("fault", name="side sensor offset")
    assert bay.car.act("read_level") == {"along": pytest.approx(0.0, abs=0.11), "across": pytest.approx(1.5, abs=0.11)}


def test_older_software_tells_nothing_of_its_zero():
    car = EstateCar(1, readable=False)
    assert {0x4D11, 0x4D21} & {did for did in (0x4D11, 0x4D21) if _known(car, did)} == set()
    assert _known(car, 0x4D15)


def _known(car: EstateCar, did: int) -> bool:
    try:
        car.module("stability").peek(did)
    except KeyError:
        return False
    return True


# -- window and roof --------------------------------------------------------------------------------------------------


def by_hand(bay: Bay, where: str = "window", hold_s: float = 3.0) -> bool:
    bay.do(where, 8.0, way="open")
    bay.do(where, 7.0 + hold_s, way="close")
    bay.do(where, 0.5, way="off")
    return bay.car.truth()[f"{where} learned"]


@pytest.fixture
def forgetful() -> Bay:
    """The battery was away."""
    bay = Bay(1)
    bay.do("disconnect_battery", 1.0)
    bay.do("charger", on=True)
    bay.do("key", 3.0, position="on")
    return bay


def test_a_panel_learns_its_ends_by_hand_and_then_runs_by_itself(forgetful: Bay):
    bay = forgetful
    assert not bay.car.truth()["window learned"]
    assert len(bay.codes()["roof"]) == 1
    bay.do("window", 1.0, way="open", automatic=True)
    bay.do("window", 6.0, way="off")
    assert bay.car.truth()["window open, mm"] < 250.0
    assert by_hand(bay)
    assert bay.car.truth()["window open, mm"] == 0.0
    bay.do("window", 8.0, way="open", automatic=True)
    assert bay.car.truth()["window open, mm"] == pytest.approx(452.0)
    assert bay.codes().get("door driver") is None


def test_only_a_learned_panel_backs_off(forgetful: Bay):
    bay, forces = forgetful, []
    for learned in (False, True):
        if learned:
            assert by_hand(bay)
        bay.do("window", 8.0, way="open")
        bay.do("window", 0.1, way="off")
        bay.do("block", where="window", mm=60.0)
        bay.do("window", 8.0, way="close")
        forces.append(bay.car.act("pinch_force"))
        bay.do("window", 0.1, way="off")
        bay.do("block", where="window", mm=None)
    assert forces[0] > 180.0
    assert forces[1] < 130.0


def test_wire_moves_it_too(forgetful: Bay):
    assert forgetful.routine("roof", 0x0F31, 25.0) == STORED
    assert forgetful.car.truth()["roof learned"]


@pytest.mark.parametrize(
    ("fault", "reason"),
    [("window guide stiff", 2), ("window motor slips", 1), ("switch let go early", 0), ("window blocked", 1)],
)
def test_a_panel_that_cannot_learn_says_why(forgetful: Bay, fault: str, reason: int):
    forgetful.do("fault", name=fault)
    assert not by_hand(forgetful)
    assert forgetful.car.module("door driver").peek(0x1A40)[5] == reason


def test_a_low_supply_and_an_open_door_refuse(forgetful: Bay):
    forgetful.do("doors", shut=False)
    assert forgetful.routine("door driver", 0x62A1, 1.0) == 0x22
    forgetful.do("doors", shut=True)
    forgetful.do("charger", 1.0, on=False)
    forgetful.do("fault", name="battery nearly flat", size=0.0)
    forgetful.do("load", 60.0, name="rear heater", on=True)
    assert forgetful.routine("door driver", 0x62A1, 1.0) == 0x93


# -- parking brake ----------------------------------------------------------------------------------------------------


def pads(bay: Bay, *, pressed: bool = True) -> int:
    assert bay.routine("parking brake", 0x5C31, 9.0) == STORED
    assert min(bay.car.truth()["clamping, kN"]) == 0.0
    assert bay.car.act("turn_wheel", side="left") < 5.0
    bay.do("replace_pads", pressed=pressed)
    return bay.routine("parking brake", 0x5C32, 16.0)


def test_pads_are_fitted_in_the_service_position_and_the_contact_is_learned():
    bay = ready(1)
    with pytest.raises(InputError, match="not wound back"):
        bay.do("replace_pads")
    assert pads(bay) == STORED
    assert min(bay.car.truth()["clamping, kN"]) > 9.0
    peaks = bay.car.module("parking brake").peek(0x4E31)[1:3]
    assert abs(peaks[0] - peaks[1]) <= 0.15 * max(peaks)
    assert bay.car.act("turn_wheel", side="right") > 500.0
    assert bay.codes() == {}


@pytest.mark.parametrize("fault", ["left caliper stiff", "right brake motor weak", "pistons not brought up"])
def test_a_brake_that_does_not_clamp_is_refused(fault: str):
    bay = ready(1)
    bay.routine("parking brake", 0x5C31, 9.0)
    bay.do("replace_pads")
    bay.do("fault", name=fault)
    assert bay.routine("parking brake", 0x5C32, 16.0) == REFUSED
    assert min(bay.car.truth()["clamping, kN"]) < 9.0


def test_the_brake_asks_for_a_sound_supply_and_a_standing_engine():
    bay = ready(1)
    bay.do("charger", 1.0, on=False)
    bay.do("load", 30.0, name="lamps", on=True)
    bay.do("load", 30.0, name="rear heater", on=True)
    assert bay.routine("parking brake", 0x5C31, 1.0) == 0x93
    bay.do("key", 20.0, position="start")
    assert bay.routine("parking brake", 0x5C31, 1.0) == 0x83


# -- gearbox ----------------------------------------------------------------------------------------------------------


def walked(bay: Bay, seconds: float = 40.0) -> int:
    bay.do("key", 12.0, position="start")
    bay.do("brake", pressed=True)
    bay.ask("transmission", "1003")
    answer = bay.ask("transmission", "31015C41")
    if answer[0] == 0x7F:
        return answer[2]
    for position in ("R", "D"):
        bay.do("selector", 4.0, position=position)
        bay.ask("transmission", "3E00")
    for _ in range(round(seconds / 4.0)):
        bay.wait(4.0)
        if bay.ask("transmission", "31035C41")[4] != RoutineState.MOVING:
            break
    return bay.ask("transmission", "31035C41")[4]


def engagements(bay: Bay) -> list[float]:
    return [ms / 1000.0 for ms in struct.unpack(">6H", bay.car.module("transmission").peek(0x4E44))]


def test_a_new_valve_body_engages_badly_until_it_is_walked():
    bay = Bay(3)
    bay.do("replace_valve_body")
    bay.do("key", 3.0, position="on")
    assert "transmission" in bay.codes()
    before = [abs(part) for part in bay.car.truth()["clutch fill missing, share"]]
    assert walked(bay) == STORED
    after = [abs(part) for part in bay.car.truth()["clutch fill missing, share"]]
    assert max(after) < 0.06 < max(before)
    bay.do("selector", 3.0, position="N")
    bay.do("selector", 3.0, position="D")
    assert engagements(bay)[0] == pytest.approx(0.8, abs=0.12)


def test_missing_fill_shows_in_the_engagement_time():
    sound, late = Bay(3), Bay(3)
    late.do("fault", name="gearbox oil low", size=0.25)
    times = []
    for bay in (sound, late):
        bay.do("key", 3.0, position="on")
        bay.do("key", 10.0, position="start")
        bay.do("brake", pressed=True)
        bay.do("selector", 3.0, position="D")
        times.append(engagements(bay)[0])
    assert times[1] - times[0] > 0.2


@pytest.mark.parametrize(
    ("spoil", "expected"),
    [
        (("fault", {"name": "gearbox oil cold"}), 0x87),
        (("fault", {"name": "gearbox oil low", "size": 0.5}), REFUSED),
        (("fault", {"name": "clutch worn"}), REFUSED),
        (("fault", {"name": "misfire", "size": 0.25}), REFUSED),
        (("pedal", {"percent": 8.0}), 0x8A),
    ],
)
def test_the_walk_fails_for_a_reason(spoil: tuple[str, dict[str, object]], expected: int):
    bay = Bay(3)
    bay.do("key", 3.0, position="on")
    bay.do(spoil[0], **spoil[1])
    assert walked(bay) == expected


def test_the_road_teaches_the_upshifts():
    bay = Bay(3)
    bay.do("replace_valve_body")
    before = [abs(part) for part in bay.car.truth()["clutch fill missing, share"]]
    bay.drive(0.0, 1.0)
    for _ in range(4):
        for km_h in (15.0, 30.0, 45.0, 60.0, 75.0):
            bay.do("drive", 9.0, km_h=km_h)
        bay.do("drive", 15.0, km_h=0.0)
    after = [abs(part) for part in bay.car.truth()["clutch fill missing, share"]]
    taught = bay.car.module("transmission").peek(0x4E43)[3 + 4 * 2 :: 4]
    assert taught[0] >= 3
    assert fmean(after[2:5]) < 0.5 * fmean(before[2:5])


# -- lights -----------------------------------------------------------------------------------------------------------


def lit(bay: Bay) -> Bay:
    bay.do("load", 1.0, name="lamps", on=True)
    return bay


def test_a_new_headlamp_wants_its_zero_and_its_screw():
    bay = Bay(1)
    bay.do("replace_headlamp", side="left")
    bay.do("charger", on=True)
    bay.do("key", 3.0, position="on")
    assert "headlamp levelling" in bay.codes()
    assert bay.routine("headlamp levelling", 0x7E21, 1.0) == 0x22
    assert lit(bay).routine("headlamp levelling", 0x7E21, 5.0) == STORED
    seen = bay.car.act("read_beam")
    assert seen["left"] > -0.7
    assert seen["right"] == pytest.approx(-1.0, abs=0.2)
    bay.do("turn_screw", side="left", turns=(-1.0 - seen["left"]) / 0.262)
    bay.wait(0.2)
    assert bay.car.act("read_beam")["left"] == pytest.approx(-1.0, abs=0.2)


def test_a_zero_with_the_boot_loaded_is_wrong_when_it_is_empty():
    bay = lit(ready(1))
    sound = bay.car.act("read_beam")["right"]
    bay.do("fault", name="boot loaded", size=40.0)
    bay.wait(0.2)
    assert bay.car.act("read_beam")["right"] == pytest.approx(sound, abs=0.2)
    assert bay.routine("headlamp levelling", 0x7E21, 5.0) == STORED
    assert bay.routine("suspension", 0x5C11, 16.0) == STORED
    bay.wait(0.2)
    assert bay.car.act("read_beam")["right"] < sound - 0.8 or bay.car.act("read_beam")["right"] > sound + 0.8


def test_the_lamps_swing_when_asked():
    bay = lit(ready(1))
    before = bay.car.act("read_beam")["left"]
    bay.ask("headlamp levelling", "1003")
    bay.ask("headlamp levelling", "31017E22")
    bay.wait(1.0)
    assert bay.car.act("read_beam")["left"] > before + 1.0
    bay.wait(2.0)
    assert bay.car.act("read_beam")["left"] == pytest.approx(before, abs=0.2)


# -- battery ----------------------------------------------------------------------------------------------------------


def told(bay: Bay, kind: int, ah: int, made: str = "3114", serial: str = "AB12CD34") -> bytes:
    bay.ask("battery monitor", "1003")
    answer = bay.say("battery monitor", "2E2B11" + record(kind, ah, made, serial).hex())
    bay.wait(1.0)
    return answer


def running_v(bay: Bay) -> float:
    bay.do("key", 90.0, position="start")
    return bay.car.truth()["supply, V"]


def test_what_it_was_told_decides_the_charging_voltage():
    bay = Bay(1)
    bay.do("replace_battery", kind=3, ah=70)
    bay.do("key", 3.0, position="on")
    wrong = running_v(bay)
    bay.do("key", 5.0, position="off")
    bay.do("charger", 1.0, on=True)
    bay.do("key", 3.0, position="on")
    assert told(bay, 3, 70)[:1] == b"\x6e"
    assert bay.car.module("battery monitor").peek(0x2B11)[:2] == bytes([3, 70])
    bay.do("charger", 1.0, on=False)
    assert 0.2 < running_v(bay) - wrong < 0.5


@pytest.mark.parametrize(
    ("kind", "ah", "made", "serial"),
    [
        (4, 70, "3114", "AB12CD34"),
        (3, 20, "3114", "AB12CD34"),
        (3, 70, "3199", "AB12CD34"),
        (3, 70, "3114", "AB 2CD34"),
    ],
)
def test_data_that_cannot_be_are_refused(kind: int, ah: int, made: str, serial: str):
    assert told(ready(1), kind, ah, made, serial) == b"\x7f\x2e\x31"


def test_a_lead_past_the_sensor_shows_beside_the_clamp():
    bay = ready(1, "battery lead past the sensor")
    bay.do("charger", 1.0, on=False)
    bay.do("load", 2.0, name="lamps", on=True)
    clamp = bay.car.act("clamp_current")
    sensor = bay.value("battery monitor", 0x2B12, 0.01)
    assert clamp > 15.0
    assert clamp - sensor > 5.0


# -- fitted modules ---------------------------------------------------------------------------------------------------


def listed(bay: Bay, names: set[str]) -> bytes:
    opened(bay, "gateway")
    body = bits_of(names)
    answer = bay.say("gateway", "2E2D07" + (body + checksum(body)).hex())
    bay.wait(1.0)
    return answer


def test_a_retrofit_is_hidden_until_it_is_listed():
    clock = StepClock()
    bay = Bay(1)
    bay.clock, bay.car = clock, EstateCar(1, warm=True, lacking=["surround view"])
    bay.car.attach(InLoopBus(clock), clock)
    bay.do("charger", on=True)
    bay.do("key", 4.0, position="on")
    assert bay.codes() == {}
    bay.do("key", 5.0, position="off")
    bay.do("plug_module", name="surround view")
    bay.do("key", 5.0, position="on")
    assert "D10055" in bay.codes()["gateway"]
    assert bay.car.module("surround view").address in bay.car.wired_gateway.hidden
    listed(bay, set(ROWS))
    bay.wait(2.0)
    assert bay.car.wired_gateway.hidden == frozenset()
    assert bay.codes() == {}


def test_a_listed_module_that_is_not_there_gives_a_code_and_no_sleep():
    bay = ready(1)
    bay.do("key", 5.0, position="off")
    asleep = bay.car.powertrain.supply.load_a
    bay.do("unplug_module", name="radio")
    bay.do("key", 5.0, position="on")
    assert "D10087" in bay.codes()["gateway"]
    assert bay.ask("radio", "22F190") == b"" or not bay.car.module("radio").awake
    bay.do("key", 5.0, position="off")
    assert bay.car.powertrain.supply.load_a > asleep + 0.2
    bay.do("key", 5.0, position="on")
    listed(bay, set(ROWS) - {"radio"})
    bay.wait(2.0)
    assert bay.codes() == {}


def test_a_saved_car_keeps_its_parts():
    one = ready(2)
    one.do("window", 1.5, way="open")
    one.do("turn_screw", side="left", turns=1.0)
    one.routine("parking brake", 0x5C31, 9.0)
    other = EstateCar(2, warm=True)
    other.restore(json.loads(json.dumps(one.car.save())))
    assert other.truth() == one.car.truth()


# -- zeros of brake pressure, steering angle, torque and locks --------------------------------------------------------


def pressure(bay: Bay) -> float:
    return fmean(bay.values("stability", 0x4D14, 0.01, 3.0))


def test_a_pressure_zero_with_a_hanging_pedal_is_wrong_once_it_is_free():
    bay = ready(1)
    bay.do("fault", name="pressure sensor offset")
    assert abs(pressure(bay)) > 2.0
    assert bay.routine("stability", 0x5B12, 4.0) == STORED
    assert abs(pressure(bay)) < 0.2
    bay.do("fault", name="brake pedal hangs")
    assert bay.routine("stability", 0x5B12, 4.0) == STORED
    bay.do("mend", name="brake pedal hangs")
    assert pressure(bay) == pytest.approx(-3.0, abs=0.3)


@pytest.mark.parametrize(
    ("fault", "size", "expected"),
    [("pressure sensor offset", 7.9, REFUSED), ("pressure sensor offset", -7.9, REFUSED), ("bad contact", 0.2, 0x93)],
)
def test_a_pressure_zero_that_is_refused(fault: str, size: float, expected: int):
    bay = ready(1)
    bay.do("load", 1.0, name="lamps", on=True)
    bay.do("fault", 1.0, name=fault, size=size)
    assert bay.routine("stability", 0x5B12, 4.0) == expected


def test_an_angle_zero_with_the_wheel_turned_shows_on_a_straight_road():
    bay = ready(1)
    bay.do("steer", 1.0, degrees=6.0)
    assert bay.routine("steering angle", 0x5B21, 3.0) == STORED
    bay.do("charger", on=False)
    bay.drive(60.0, 25.0)
    angle = fmean(bay.values("steering angle", 0x4D31, 0.1, 6.0))
    assert angle == pytest.approx(-6.0, abs=1.2)
    assert abs(fmean(bay.values("stability", 0x4D11, 0.01, 6.0))) < 0.25


@pytest.mark.parametrize(("fault", "size"), [("angle sensor offset", 15.0), ("steering binds", 3.0)])
def test_zeros_beyond_their_limits_are_refused(fault: str, size: float):
    bay = ready(2)
    bay.do("fault", name=fault, size=size)
    if fault == "steering binds":
        bay.do("key", 20.0, position="start")
        assert bay.routine("steering assist", 0x5B31, 6.0) == REFUSED
    else:
        bay.do("steer", 1.0, degrees=8.0)
        assert bay.routine("steering angle", 0x5B21, 3.0) == REFUSED
