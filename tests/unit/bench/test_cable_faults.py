"""Every fault of the older petrol car changes what it says it changes, against the same seed without it."""

from __future__ import annotations

import pytest

from asleft.bench.cars.cable import CableCar
from asleft.bench.cars.cable_faults import CABLE_FAULTS
from asleft.bench.kwp_frames import Message, Mode, decode, size
from kit.fault_watch import COMMON, SIZES, Kind, Watch, asleep, effect, engine_off, idle, press

CABLE = Kind(lambda: CableCar(5, warm=True), pedal=0x11, on_can=False)


def speak(w: Watch) -> None:
    """Sixty requests for the coolant over the K-line, opened by a fast start; all bytes, and whole answers."""
    heard: list[int] = []
    node = w.line.join("tester", lambda value, _end_s, own: None if own else heard.append(value))
    w.act("key", 3.0, position="on")
    w.set()
    w.wait(6.0)
    node.pull_low(0.025)
    w.wait(0.05)
    whole: list[bytes] = []
    for data in (b"\x81", *[b"\x01\x05"] * 60):
        heard.clear()
        node.send(Message(data, Mode.PHYSICAL, 0x11, 0xF1).encode(), 0.005)
        w.wait(0.25)
        said = bytes(heard)
        message = decode(said[: size(said) or 0])
        whole.append(message.data if message is not None else b"")
    w.seen["answers"] = whole
    w.seen["unanswered"] = whole.count(b"")
    w.seen["warm-ups"] = w.pid(0x30)


def foot_off(w: Watch) -> None:
    """Whether the foot off is recognised at idle."""
    w.set()
    w.act("key", 3.0, position="on")
    w.act("key", 10.0, position="start")
    w.seen["foot off"] = w.car.engine.peek(0x25)


EXPECTED = {name: COMMON[name] for name in CABLE_FAULTS if name in COMMON} | {
    "key bounced": (engine_off, "awake for", 0.2),
    "pedal held by the mat": (engine_off, "11", 8.0),
    "engine module busy": (speak, "answers", None),
    "sensor shifted": (foot_off, "foot off", None),
    "bytes lost": (speak, "unanswered", 3.0),
    "bytes changed": (speak, "unanswered", 3.0),
    "line shorted": (speak, "unanswered", 61.0),
    "second tester": (speak, "unanswered", 5.0),
    "other tester clears": (speak, "warm-ups", 20.0),
}


def test_every_fault_stands_in_the_table():
    assert set(EXPECTED) == set(CABLE_FAULTS)


#: In the quick run: its own and those of its line, of the hand and of the supply; in the full run all.
QUICK = {name for name in CABLE_FAULTS if name not in COMMON or EXPECTED[name][0] in {press, asleep, speak, foot_off}}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.full) for name in CABLE_FAULTS]
)
def test_a_fault_has_its_effect(name: str):
    watch = effect(CABLE, name, *EXPECTED[name])
    assert watch.car.truth()["faults"] == {name: SIZES.get(name, CABLE_FAULTS[name].typical)}


@pytest.mark.parametrize("name", ["bytes lost", "line shorted", "second tester", "intake leak", "coolant frozen"])
def test_a_mended_fault_is_gone(name: str):
    scenario, key, _ = EXPECTED[name]
    watch = Watch(CABLE, None)
    watch.car.act("fault", name=name)
    watch.car.act("mend", name=name)
    scenario(watch)
    effect_of_none = watch.seen[key]
    sound = Watch(CABLE, None)
    scenario(sound)
    assert sound.seen[key] == effect_of_none
    assert watch.car.truth()["faults"] == {}


def test_scenarios_end_as_they_should_on_the_sound_car():
    for scenario, key, value in ((asleep, "awake", True), (speak, "unanswered", 0), (foot_off, "foot off", b"\x01")):
        watch = Watch(CABLE, None)
        scenario(watch)
        assert watch.seen[key] == value
    for scenario in (idle, press):
        watch = Watch(CABLE, None)
        scenario(watch)
        assert watch.seen.get("codes", set()) == set()
