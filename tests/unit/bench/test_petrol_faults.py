"""Every fault of the petrol car changes what it says it changes, against the same seed without it."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.faults import Family
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.cars.petrol_faults import PETROL_FAULTS
from asleft.bench.clock import StepClock
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.model.errors import InputError

Observed = dict[str, Any]


#: Other than the typical size, to save time.
SIZES = {"modules fall asleep": 20.0}


class Watch:
    """A car on its bus with a tester that counts, and what was observed of it."""

    def __init__(self, fault: str | None) -> None:
        self.clock = StepClock()
        self.bus = InLoopBus(self.clock)
        self.car = PetrolCar(5, warm=True)
        self.car.attach(self.bus, self.clock)
        self.answers: list[tuple[float, bytes]] = []
        self.frames: list[bytes] = []
        self.tester = IsoTpNode(
            self.bus, self.clock, TransportSettings(0x7E8, 0x7E0), self._hear, name="tester", hears=lambda: True
        )
        self.bus.join("listener", lambda frame: self.frames.append(frame.data) if frame.id == 0x7E8 else None)
        self.fault = fault
        self.seen: Observed = {}

    def _hear(self, answer: bytes, _functional: bool) -> None:
        self.answers.append((self.clock.now(), answer))

    def set(self) -> None:
        """Set the fault, at the moment that the scenario chooses."""
        if self.fault is not None:
            self.car.act("fault", name=self.fault, size=SIZES.get(self.fault))

    def wait(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def act(self, what: str, seconds: float = 0.0, /, **args: object) -> None:
        self.car.act(what, **args)
        self.wait(seconds)

    def ask(self, request: str) -> bytes:
        return self.car.engine.handle(bytes.fromhex(request)) or b""

    def pid(self, pid: int) -> int:
        return int.from_bytes(self.ask(f"01{pid:02X}")[2:], "big")

    def mean(self, pid: int, seconds: float) -> float:
        values: list[int] = []
        for _ in range(round(seconds * 2)):
            self.wait(0.5)
            values.append(self.pid(pid))
        self.seen[f"{pid:02X} scatter"] = statistics.pstdev(values)
        self.seen[f"{pid:02X} distinct"] = len(set(values))
        return statistics.mean(values)


def engine_off(w: Watch) -> None:
    """Key on, engine off: temperatures, supply, level, coding, codes."""
    w.set()
    w.act("key", 14.0, position="on")
    w.seen |= {f"{pid:02X}": w.mean(pid, 3.0) for pid in (0x05, 0x0B, 0x0F, 0x11, 0x2F, 0x42, 0x49)}
    w.seen["running"] = w.car.powertrain.running
    for module, did in (
        ("body", 0x3B30),
        ("brakes", 0x3B20),
        ("engine", 0x3B10),
        ("gateway", 0x3B50),
        ("cluster", 0xF190),
    ):
        w.seen[f"{module} {did:04X}"] = w.car.module(module).peek(did).hex()
    w.seen["codes"] = {f"{code:06X}" for module in w.car.modules for code in module.codes.matching(0x01)}
    w.seen["awake"] = w.car.engine.awake
    w.seen["key-ons"] = w.car.powertrain.plate.cycles


def idle(w: Watch) -> None:
    """Started warm, left to idle for one and a half minutes."""
    w.act("key", 3.0, position="on")
    w.set()
    w.act("key", 60.0, position="start")
    w.seen |= {f"{pid:02X}": w.mean(pid, 8.0) for pid in (0x0C, 0x2E, 0x42)}
    w.seen["07"] = w.pid(0x07)
    w.seen["target"] = w.car.powertrain.idle.target_rpm


def warm_up(w: Watch) -> None:
    """Four minutes of idle from half warm."""
    w.act("key", 3.0, position="on")
    w.car.powertrain.temperatures.coolant_c = 60.0
    w.set()
    w.pid(0x05)
    w.act("key", 250.0, position="start")
    w.seen["05"] = w.pid(0x05)


def press(w: Watch) -> None:
    """Key on, pedal pressed for five seconds, released; the pedal sensor ten times a second."""
    w.set()
    w.act("key", 4.0, position="on")
    w.car.act("pedal", percent=100.0)
    trace: list[int] = []
    for tick in range(120):
        if tick == 50:
            w.car.act("pedal", percent=0.0)
        w.wait(0.1)
        trace.append(w.pid(0x49))
    w.seen["pedal"] = trace


def learn(w: Watch) -> None:
    """The lower-stop learn, to its end."""
    w.act("key", 3.0, position="on")
    w.set()
    w.ask("1003")
    w.ask("31015A31")
    w.wait(4.0)
    w.ask("3E00")
    w.wait(4.0)
    w.seen["learn"] = w.ask("31035A31")[4:6].hex()


def asleep(w: Watch) -> None:
    """Forty seconds with the key on."""
    w.act("key", 3.0, position="on")
    w.set()
    w.wait(40.0)
    w.seen["awake"] = w.car.engine.awake


def talk(w: Watch) -> None:
    """A hundred requests over the bus, one VIN, one routine, with their times and answers."""
    w.act("key", 3.0, position="on")
    w.set()
    w.wait(6.0)
    times: list[float] = []
    for number in range(100):
        before, start = len(w.answers), w.clock.now()
        w.tester.send(bytes.fromhex("01050C0D"), functional=False)
        w.wait(0.06)
        times.append(w.answers[before][0] - start if len(w.answers) > before else 9.0)
        if number == 50:
            w.tester.send(bytes.fromhex("22F190"), functional=False)
            w.wait(0.3)
    w.seen["times"] = statistics.mean(times)
    w.seen["silent"] = sum(value == 9.0 for value in times)
    w.seen["answers"] = [answer for _, answer in w.answers]
    w.seen["frames"] = len(w.frames)
    w.seen["repeats"] = w.bus.counts.destroyed
    w.seen["warm-ups"] = w.pid(0x30)
    other = w.car.module("brakes").address
    heard: list[bytes] = []
    node = IsoTpNode(
        w.bus, w.clock, TransportSettings(other.response, other.request), lambda a, _f: heard.append(a), name="second"
    )
    node.send(bytes.fromhex("22F190"), functional=False)
    w.wait(0.5)
    w.seen["brakes answer"] = bool(heard)
    before = len(w.answers)
    w.tester.send(bytes.fromhex("31015A31"), functional=False)
    w.wait(1.0)
    w.seen["routine answered"] = len(w.answers) > before


#: Fault -> scenario, what must differ, and by how much at least (None: at all).
EXPECTED: dict[str, tuple[Callable[[Watch], None], str, float | None]] = {
    "engine cold": (engine_off, "05", 40.0),
    "load left on": (engine_off, "42", 100.0),
    "phone charger on": (engine_off, "42", 12.0),
    "air conditioning on": (idle, "target", 60.0),
    "engine starts itself": (engine_off, "running", None),
    "pedal held by the mat": (engine_off, "49", 8.0),
    "fuel low": (engine_off, "2F", 40.0),
    "hand late": (press, "pedal", None),
    "hand early": (press, "pedal", None),
    "press short": (press, "pedal", None),
    "press partial": (press, "pedal", None),
    "released late": (press, "pedal", None),
    "one more press": (press, "pedal", None),
    "key bounced": (engine_off, "key-ons", 1.0),
    "key one position short": (engine_off, "awake", None),
    "coolant frozen": (warm_up, "05", 10.0),
    "engine speed frozen": (idle, "0C distinct", 5.0),
    "plate sensor noisy": (engine_off, "11 scatter", 0.8),
    "manifold pressure offset": (engine_off, "0B", 5.0),
    "intake temperature offset": (engine_off, "0F", 10.0),
    "coolant sensor offset": (engine_off, "05", 13.0),
    "air meter reads": (idle, "07", 3.0),
    "plate sensors disagree": (engine_off, "codes", None),
    "fan cycles": (idle, "42", 20.0),
    "coding bytes swapped": (engine_off, "body 3B30", None),
    "coding checksum wrong": (engine_off, "codes", None),
    "coding lost": (engine_off, "codes", None),
    "market wrong": (engine_off, "engine 3B10", None),
    "unknown bits gone": (engine_off, "gateway 3B50", None),
    "decimal for hexadecimal": (engine_off, "engine 3B10", None),
    "used module fitted": (engine_off, "cluster F190", None),
    "supply dips while learning": (learn, "learn", None),
    "charger ripple": (engine_off, "42 scatter", 80.0),
    "battery nearly flat": (engine_off, "42", 300.0),
    "bad contact": (engine_off, "42", 200.0),
    "alternator dead": (idle, "42", 1000.0),
    "modules fall asleep": (asleep, "awake", None),
    "intake leak": (idle, "07", 2.0),
    "purge valve stuck open": (idle, "2E", 40.0),
    "thermostat stuck open": (warm_up, "05", 3.0),
    "misfire": (idle, "0C scatter", 20.0),
    "engine module busy": (talk, "answers", None),
    "frames lost": (talk, "silent", 1.0),
    "frames doubled": (talk, "frames", 3.0),
    "frames late": (talk, "times", 0.0005),
    "frames changed": (talk, "answers", None),
    "error frames": (talk, "repeats", 20.0),
    "gateway blocks": (talk, "brakes answer", None),
    "bus loaded": (talk, "times", 0.0001),
    "node floods": (talk, "silent", 90.0),
    "second tester": (talk, "frames", 20.0),
    "other tester clears": (talk, "warm-ups", 20.0),
    "adapter drops at write": (talk, "routine answered", None),
    "engine module bus off": (talk, "silent", 90.0),
}

_SOUND: dict[str, Observed] = {}


def _sound(scenario: Callable[[Watch], None]) -> Observed:
    name = scenario.__name__
    if name not in _SOUND:
        watch = Watch(None)
        scenario(watch)
        _SOUND[name] = watch.seen
    return _SOUND[name]


def test_every_fault_stands_in_the_table():
    assert set(EXPECTED) == set(PETROL_FAULTS)
    assert {fault.family for fault in PETROL_FAULTS.values()} == set(Family)


@pytest.mark.parametrize("name", PETROL_FAULTS)
def test_a_fault_has_its_effect(name: str):
    scenario, key, least = EXPECTED[name]
    watch = Watch(name)
    scenario(watch)
    sound, spoilt = _sound(scenario)[key], watch.seen[key]
    if least is None:
        assert spoilt != sound
    else:
        assert abs(spoilt - sound) >= least
    assert watch.car.truth()["faults"] == {name: SIZES.get(name, PETROL_FAULTS[name].typical)}


@pytest.mark.parametrize("name", ["supply dips while learning", "intake leak", "press partial", "coding lost"])
def test_a_mended_fault_is_gone(name: str):
    scenario, key, _ = EXPECTED[name]
    watch = Watch(None)
    watch.car.act("fault", name=name)
    watch.car.act("mend", name=name)
    scenario(watch)
    assert watch.seen[key] == _sound(scenario)[key]
    assert watch.car.truth()["faults"] == {}


def test_the_dip_refuses_with_supply_too_low():
    """93: voltage too low (ISO 14229-1 annex A; number recalled)."""
    watch = Watch("supply dips while learning")
    learn(watch)
    assert watch.seen["learn"] == "0393"
    assert _sound(learn)["learn"] == "0200"


def test_faults_add_up():
    """Two at once show both effects."""
    watch = Watch(None)
    watch.car.act("fault", name="load left on")
    watch.car.act("fault", name="coolant sensor offset", size=-20.0)
    engine_off(watch)
    assert _sound(engine_off)["42"] - watch.seen["42"] > 100.0
    assert _sound(engine_off)["05"] - watch.seen["05"] > 18.0


@pytest.mark.parametrize(("name", "size"), [("intake leak", 50.0), ("gremlins", None), ("misfire", 0.0)])
def test_unknown_faults_and_sizes_are_refused_with_what_there_is(name: str, size: float | None):
    with pytest.raises(InputError) as caught:
        PetrolCar().act("fault", name=name, size=size)
    assert "there are" in caught.value.detail or "outside" in caught.value.detail


def test_faults_are_listed_with_units_and_sizes():
    listing = PetrolCar().act("faults")
    assert listing["intake leak"]["unit"] == "mm²"
    assert all(entry["low"] <= entry["typical"] <= entry["high"] for entry in listing.values())


def test_faults_of_the_car_survive_saving():
    one = PetrolCar(3)
    one.act("fault", name="intake leak", size=2.0)
    one.act("fault", name="coolant frozen")
    other = PetrolCar(3)
    other.restore(one.save())
    assert other.truth()["leak effective area, mm²"] == pytest.approx(2.0)
    assert other.truth()["faults"] == one.truth()["faults"]
