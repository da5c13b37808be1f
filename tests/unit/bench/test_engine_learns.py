"""Pedal rest and tooth errors of the petrol car, and what the proof of an idle relearn can see through OBD."""

from __future__ import annotations

import json
from statistics import fmean

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.routines import RoutineState
from kit.fault_watch import Kind, Watch, overruns

STORED, REFUSED = RoutineState.STORED, RoutineState.REFUSED


def car(seed: int = 5) -> Watch:
    return Watch(Kind(lambda: PetrolCar(seed, warm=True)), None)


def routine(w: Watch, rid: str, seconds: float = 4.0) -> int:
    """Start it and wait; its state, or the refusal code."""
    w.ask("1003")
    answer = w.ask("3101" + rid)
    if answer[0] == 0x7F:
        return answer[2]
    for _ in range(round(seconds)):
        w.wait(1.0)
        w.ask("3E00")
    return w.ask("3103" + rid)[4]


def relative(w: Watch, percent: float) -> float:
    """Parameter 5A at a travel, %."""
    w.act("pedal", 1.0, percent=percent)
    return fmean(w.pid(0x5A) for _ in range(10)) * 100.0 / 255.0


# -- pedal rest -------------------------------------------------------------------------------------------------------


def test_a_new_pedal_is_mistaken_until_its_rest_is_learned() -> None:
    w = car()
    w.act("replace_pedal")
    w.act("key", 3.0, position="on")
    off = relative(w, 0.0), relative(w, 100.0)
    assert off[0] > 1.4 or off[1] < 98.5
    w.act("pedal", 2.0, percent=0.0)
    assert routine(w, "5A33") == STORED
    assert relative(w, 0.0) < 0.5
    assert relative(w, 100.0) == pytest.approx(100.0, abs=0.6)


def test_what_the_mat_taught_shows_at_full_travel() -> None:
    """The rest is learned with the pedal 3 % down: foot off reads zero all the same, full travel is short."""
    w = car()
    w.act("key", 3.0, position="on")
    w.act("fault", name="pedal held by the mat", size=3.0)
    assert routine(w, "5A33") == STORED
    w.act("mend", name="pedal held by the mat")
    assert relative(w, 0.0) == 0.0
    assert relative(w, 100.0) < 97.6


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        ("pedal bracket bent", REFUSED),
        ("pedal sensors disagree", REFUSED),
        ("pedal sensor noisy", REFUSED),
        ("pedal held by the mat", REFUSED),
    ],
)
def test_a_rest_that_cannot_be_learned(fault: str, expected: int) -> None:
    w = car()
    w.act("key", 3.0, position="on")
    w.act("fault", name=fault)
    assert routine(w, "5A33") == expected


def test_the_pedal_learn_asks_for_a_standing_engine() -> None:
    w = car()
    w.act("key", 3.0, position="on")
    w.act("key", 5.0, position="start")
    assert routine(w, "5A33") == 0x83


# -- tooth errors -----------------------------------------------------------------------------------------------------


def test_three_overruns_learn_the_wheel_and_false_misfires_end() -> None:
    w = car()
    w.act("replace_crank_sensor")
    w.act("key", 3.0, position="on")
    w.wait(1.0)
    assert 0x0315 in w.car.engine.codes.emission(0x08)
    w.act("key", 2.0, position="off")
    overruns(w)
    assert w.seen["teeth"][:2] == "02"
    learned = [v.value for v in w.car.engine_side.teeth.learned]
    assert learned == pytest.approx(w.car.engine_side.wheel.error_permille, abs=0.12)
    counts = list(w.car.engine_side.teeth.counts)
    w.wait(60.0)
    assert w.car.engine_side.teeth.counts == counts


def test_a_loose_damper_cannot_be_learned() -> None:
    w = car()
    w.fault = "damper loose"
    overruns(w)
    assert w.seen["teeth"][:2] == "03"


@pytest.mark.parametrize("fault", ["wrong target wheel", "misfire"])
def test_misfire_real_or_seen_keeps_the_learn_from_starting(fault: str) -> None:
    w = car()
    w.fault = fault
    overruns(w)
    assert w.seen["start"] == "7f3122"


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (("selector", {"position": "D"}), 0x90),
        (("fault", {"name": "engine cold", "size": 40.0}), 0x87),
        (("key", {"position": "off"}), None),
    ],
)
def test_the_tooth_learn_asks_for_a_warm_engine_in_park(spoil: tuple[str, dict[str, object]], code: int | None) -> None:
    w = car()
    w.act("key", 3.0, position="on")
    w.act("key", 40.0, position="start")
    w.act("brake", pressed=True)
    w.act(spoil[0], 1.0, **spoil[1])
    if code is not None:
        assert routine(w, "5A34", 1.0) == code
    else:
        w.act("key", 3.0, position="on")
        assert routine(w, "5A34", 1.0) == 0x84


def test_a_foot_that_stays_down_at_the_cut_teaches_nothing() -> None:
    w = car()
    w.act("key", 3.0, position="on")
    w.act("key", 40.0, position="start")
    w.ask("1003")
    w.ask("31015A34")
    w.car.act("pedal", percent=45.0)
    speeds: list[int] = []
    for _ in range(85):
        w.wait(1.0)
        w.ask("3E00")
        speeds.append(w.pid(0x0C) // 4)
    w.wait(4.0)
    w.ask("3E00")
    w.wait(3.0)
    assert max(speeds) < 4300
    assert w.ask("31035A34")[4] == REFUSED
    assert w.car.powertrain.top_rpm == 5900.0


def test_a_saved_engine_module_goes_on_the_same() -> None:
    one = car(3)
    one.act("replace_pedal")
    one.act("key", 3.0, position="on")
    one.act("key", 20.0, position="start")
    other = PetrolCar(3, warm=True)
    other.restore(json.loads(json.dumps(one.car.save())))
    other.engine_side.advance()
    assert other.engine_side.pedal.relative_pct() == pytest.approx(one.car.engine_side.pedal.relative_pct(), abs=0.2)
    assert other.engine_side.teeth.counts == one.car.engine_side.teeth.counts
    assert other.truth() == one.car.truth()


# -- idle relearn: what its proof sees --------------------------------------------------------------------------------


def trace(w: Watch, seconds: float) -> list[float]:
    """Engine speed through OBD, ten a second."""
    found: list[float] = []
    for _ in range(round(seconds * 10)):
        w.wait(0.1)
        found.append(w.pid(0x0C) / 4.0)
    return found


@pytest.fixture
def idling() -> Watch:
    w = car(1)
    w.act("key", 3.0, position="on")
    w.act("key", 200.0, position="start")
    return w


def test_a_drop_of_the_throttle_is_seen_with_its_undershoot(idling: Watch) -> None:
    base = fmean(trace(idling, 10.0))
    for _ in range(3):
        idling.act("pedal", 4.0, percent=14.0)
        high = idling.pid(0x0C) / 4.0
        idling.car.act("pedal", percent=0.0)
        after = trace(idling, 8.0)
        assert high > 1900.0
        assert base - 150.0 < min(after) < base
        assert fmean(after[-20:]) == pytest.approx(base, abs=40.0)


def test_an_electrical_step_is_seen_in_voltage_and_speed(idling: Watch) -> None:
    base = fmean(trace(idling, 10.0))
    volts = idling.pid(0x42)
    idling.car.act("load", name="rear heater", on=True)
    idling.car.act("load", name="lamps", on=True)
    after = trace(idling, 6.0)
    assert base - 100.0 < min(after) < base - 5.0
    assert fmean(after[-20:]) == pytest.approx(base, abs=30.0)
    assert idling.pid(0x42) < volts + 50


def test_a_gear_step_is_seen_and_settles(idling: Watch) -> None:
    base = fmean(trace(idling, 10.0))
    idling.act("parking_brake", on=True)
    idling.act("brake", 0.5, pressed=True, percent=80.0)
    idling.car.act("selector", position="D")
    after = trace(idling, 8.0)
    assert base - 150.0 < min(after) < base - 15.0
    assert fmean(after[-20:]) == pytest.approx(base, abs=40.0)
    assert idling.pid(0x0D) == 0
