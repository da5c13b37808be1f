"""The diesel: injector codes and what follows from wrong ones, the return valve's learn, every fault's effect."""

from __future__ import annotations

import json
import struct
from statistics import fmean, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vininfo import Vin

from asleft.bench.cars.diesel import DieselCar
from asleft.bench.cars.diesel_faults import DIESEL_FAULTS
from asleft.bench.physics.injectors import ALPHABET, STEP_MG, decode, encode
from asleft.bench.routines import RoutineState
from asleft.bench.security import bench_key
from asleft.bench.transport import IsoTpNode, TransportSettings
from kit.fault_watch import COMMON, SIZES, Kind, Watch, effect, sound

STORED, REFUSED = RoutineState.STORED, RoutineState.REFUSED
DIESEL = Kind(lambda: DieselCar(5, warm=True), on_can=False)
#: Cylinder -> identifier of its code: the module counts in firing order 1, 3, 4, 2.
PLACE = {1: 0x9D11, 3: 0x9D12, 4: 0x9D13, 2: 0x9D14}


def car(seed: int = 5) -> Watch:
    return Watch(Kind(lambda: DieselCar(seed, warm=True), on_can=False), None)


def say(w: Watch, request: str, seconds: float = 1.0) -> bytes:
    """Over the bus; the last answer."""
    heard: list[bytes] = []
    node = IsoTpNode(w.bus, w.clock, TransportSettings(0x7E8, 0x7E0), lambda a, _f: heard.append(a), name="tester 2")
    node.send(bytes.fromhex(request))
    w.wait(seconds)
    node.leave()
    return heard[-1] if heard else b""


def write(w: Watch, cylinder: int, code: str) -> bytes:
    say(w, "1003")
    seed = say(w, "2705")[2:]
    say(w, "2706" + bench_key(seed).hex())
    return say(w, f"2E{PLACE[cylinder]:04X}" + code.encode().hex())


def smoothness(w: Watch) -> dict[int, float]:
    """Cylinder -> what is added, mg."""
    values = struct.unpack(">4h", w.car.engine.peek(0x9D20))
    return {cylinder: value / 100.0 for cylinder, value in zip((1, 3, 4, 2), values, strict=True)}


def idling(w: Watch, seconds: float = 70.0) -> Watch:
    w.act("key", 3.0, position="on")
    w.act("key", seconds, position="start")
    return w


@pytest.mark.parametrize("seed", range(3))
def test_vin_is_valid_and_of_no_maker(seed: int) -> None:
    vin = Vin(DieselCar(seed).vin)
    assert vin.verify_checksum()
    assert vin.manufacturer == "UnsupportedBrand"


def test_it_starts_cold_and_idles_on_its_target() -> None:
    w = Watch(Kind(lambda: DieselCar(2, ambient_c=-5.0), on_can=False), None)
    idling(w, 60.0)
    speeds = [(w.wait(0.2), w.pid(0x0C) / 4.0)[1] for _ in range(50)]
    assert fmean(speeds) == pytest.approx(w.car.truth()["idle target, 1/min"], abs=20.0)
    assert pstdev(speeds) < 12.0
    assert w.ask("0101")[3] & 0x08
    assert w.pid(0x23) * 10.0 > 20_000.0


def test_exhaust_coming_back_takes_the_place_of_fresh_air() -> None:
    w = idling(car(), 15.0)
    before = w.pid(0x10)
    w.wait(40.0)
    assert w.pid(0x10) < 0.9 * before
    assert w.pid(0x2C) > 60
    assert abs(w.pid(0x2D) - 128) < 8


# -- injector codes ---------------------------------------------------------------------------------------------------


@given(st.integers(-400, 400), st.text(ALPHABET, min_size=5, max_size=5))
def test_a_code_tells_the_error_and_no_mistyped_one_passes(steps: int, serial: str) -> None:
    code = encode(steps * STEP_MG, serial)
    assert decode(code) == pytest.approx(steps * STEP_MG)
    for place in range(len(code)):
        wrong = code[:place] + ALPHABET[(ALPHABET.index(code[place]) + 1) % len(ALPHABET)] + code[place + 1 :]
        assert decode(wrong) is None
    for place in range(len(code) - 1):
        a, b = code[place : place + 2]
        if a != b:
            assert decode(code[:place] + b + a + code[place + 2 :]) is None
    assert decode(code.lower() if code.lower() != code else code + "2") is None
    assert decode(code[:-1]) is None


def test_a_new_injector_runs_rough_until_its_code_is_told() -> None:
    w = car(1)
    w.act("replace_injector", cylinder=3)
    rough = smoothness(idling(w))[3]
    assert abs(rough) > 0.4
    w.act("key", 5.0, position="off")
    w.act("key", 3.0, position="on")
    code = w.car.act("read_injector_label", cylinder=3)
    assert write(w, 3, code) == bytes.fromhex("6E9D12")
    assert w.car.engine.peek(0x9D12).decode() == code
    assert w.car.engine.writes(0x9D12) == 1
    w.act("key", 70.0, position="start")
    assert max(abs(value) for value in smoothness(w).values()) < 0.1


def test_a_code_in_the_wrong_cylinder_shows_in_two() -> None:
    w = car(4)
    labels = [w.car.act("read_injector_label", cylinder=cylinder) for cylinder in (2, 3)]
    w.act("key", 3.0, position="on")
    write(w, 2, labels[1])
    write(w, 3, labels[0])
    w.act("key", 70.0, position="start")
    values = smoothness(w)
    assert values[2] == pytest.approx(-values[3], abs=0.1)
    assert abs(values[2]) > 0.3


@pytest.mark.parametrize("spoil", ["check", "letter", "short", "running", "locked"])
def test_a_code_is_refused_for_a_reason(spoil: str) -> None:
    w = car(1)
    w.act("key", 3.0, position="on")
    code = w.car.act("read_injector_label", cylinder=1)
    other = ALPHABET[(ALPHABET.index(code[-1]) + 1) % len(ALPHABET)]
    text = {"check": code[:-1] + other, "letter": "0" + code[1:], "short": code[:-1]}.get(spoil, code)
    if spoil == "running":
        w.act("key", 5.0, position="start")
    if spoil == "locked":
        say(w, "1003")
        answer = say(w, f"2E{PLACE[1]:04X}" + text.encode().hex())
    else:
        answer = write(w, 1, text)
    assert answer[-1] == {"check": 0x31, "letter": 0x31, "short": 0x13, "running": 0x83, "locked": 0x33}[spoil]


# -- return valve -----------------------------------------------------------------------------------------------------


def learned(w: Watch) -> int:
    w.ask("1003")
    answer = w.ask("310173C4")
    if answer[0] == 0x7F:
        return answer[2]
    w.wait(4.0)
    w.ask("3E00")
    w.wait(2.0)
    return w.ask("310373C4")[4]


def test_a_cleaned_valve_is_mistaken_until_it_is_learned() -> None:
    w = car(2)
    w.act("clean_return_valve")
    idling(w)
    wrong = w.pid(0x10)
    w.act("key", 5.0, position="off")
    w.act("key", 3.0, position="on")
    assert learned(w) == STORED
    truth = w.car.truth()
    assert truth["return valve closed learned, %"] == pytest.approx(truth["return valve closed reads, %"], abs=0.2)
    w.act("key", 70.0, position="start")
    assert abs(w.pid(0x10) - wrong) > 10


@pytest.mark.parametrize(
    ("fault", "size", "expected"),
    [
        ("carbon on the return seat", 12.0, REFUSED),
        ("return valve sticks", 45.0, REFUSED),
        ("return gear worn", None, REFUSED),
        ("return sensor offset", None, REFUSED),
        ("battery nearly flat", 0.0, 0x93),
        ("engine cold", -10.0, 0x87),
    ],
)
def test_a_valve_that_cannot_be_learned(fault: str, size: float | None, expected: int) -> None:
    w = car(2)
    w.act("key", 3.0, position="on")
    w.act("fault", 1.0, name=fault, size=size)
    if expected == 0x93:
        w.act("load", 60.0, name="rear heater", on=True)
    assert learned(w) == expected


def test_a_little_carbon_is_learned_as_closed() -> None:
    """The learn looks right; the air says otherwise: exhaust comes back with the valve asked shut."""
    w = car(2)
    w.act("key", 3.0, position="on")
    w.act("fault", name="carbon on the return seat", size=6.0)
    assert learned(w) == STORED
    w.act("key", 12.0, position="start")
    assert w.pid(0x2C) == 0
    assert w.car.powertrain.return_kg_s > 0.0002


# -- faults -----------------------------------------------------------------------------------------------------------


def warm_idle(w: Watch) -> None:
    """Warm, left to idle for two minutes: codes, air, error of the return valve, coolant."""
    w.act("key", 3.0, position="on")
    w.set()
    w.act("key", 60.0, position="start")
    w.seen["error"] = max((w.wait(0.5), abs(w.pid(0x2D) - 128))[1] for _ in range(40))
    w.seen["air"] = w.mean(0x10, 5.0)
    w.seen["codes"] = {f"{code:06X}" for code in w.car.engine.codes.matching(0x01)}
    w.wait(200.0)
    w.seen["coolant"] = w.pid(0x05)


def learn_valve(w: Watch) -> None:
    """The return valve's learn, engine off."""
    w.act("key", 3.0, position="on")
    w.set()
    w.seen["end"] = learned(w)


def brakes_awake(w: Watch) -> None:
    """How long the brake module is awake after a key-on."""
    w.set()
    w.car.act("key", position="on")
    w.seen["awake"] = sum((w.wait(0.1), w.car.module("brakes").awake)[1] for _ in range(60))


EXPECTED = {name: COMMON[name] for name in DIESEL_FAULTS if name in COMMON} | {
    "key bounced": (brakes_awake, "awake", 2.0),
    "thermostat stuck open": (warm_idle, "coolant", 2.0),
    "injector 3 worn": (warm_idle, "codes", None),
    "cylinder 2 weak": (warm_idle, "codes", None),
    "carbon on the return seat": (learn_valve, "end", None),
    "return valve sticks": (warm_idle, "error", 8.0),
    "return gear worn": (learn_valve, "end", None),
    "return sensor offset": (learn_valve, "end", None),
    "air meter reads": (warm_idle, "air", 100.0),
}


def test_every_fault_stands_in_the_table() -> None:
    assert set(EXPECTED) == set(DIESEL_FAULTS)
    assert sound(DIESEL, warm_idle)["codes"] == set()
    assert sound(DIESEL, learn_valve)["end"] == STORED


#: Its own, and one of the link; the others are the petrol car's, and stand in the full run.
QUICK = {"frames lost", "coolant sensor offset", "return valve sticks"}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.full) for name in DIESEL_FAULTS]
)
def test_a_fault_has_its_effect(name: str) -> None:
    watch = effect(DIESEL, name, *EXPECTED[name])
    assert watch.car.truth()["faults"] == {name: SIZES.get(name, DIESEL_FAULTS[name].typical)}


def test_a_saved_car_goes_on_the_same() -> None:
    one = idling(car(2), 30.0)
    one.act("load", 5.0, name="lamps", on=True)
    other = DieselCar(2, warm=True)
    other.restore(json.loads(json.dumps(one.car.save())))
    assert other.truth() == one.car.truth()
