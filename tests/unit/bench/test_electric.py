"""The electric car: isolation is read, nothing of the high voltage is commanded, every fault shows."""

from __future__ import annotations

import json
from collections.abc import Callable
from statistics import fmean
from typing import Any

import pytest
from vininfo import Vin

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.electric import ElectricCar
from asleft.bench.cars.electric_faults import ELECTRIC_FAULTS
from asleft.bench.clock import StepClock
from asleft.bench.physics.isolation import PARTS_MOHM, Isolation
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.model.errors import InputError

BATTERY = "high-voltage battery"


class Bay:
    """The car on its bus, time in our hand."""

    def __init__(self, fault: str | None = None, seed: int = 3) -> None:
        self.clock = StepClock()
        self.bus = InLoopBus(self.clock)
        self.car = ElectricCar(seed)
        self.car.attach(self.bus, self.clock)
        self.fault = fault
        self.seen: dict[str, Any] = {}

    def do(self, what: str, seconds: float = 0.0, /, **args: object) -> Any:
        done = self.car.act(what, **args)
        self.wait(seconds)
        return done

    def wait(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def set(self) -> None:
        if self.fault is not None:
            self.do("fault", name=self.fault)

    def ask(self, request: str) -> bytes:
        return self.car.module(BATTERY).handle(bytes.fromhex(request)) or b""

    def kohm(self) -> int:
        return int.from_bytes(self.ask("22A1C0")[3:5], "big")

    def codes(self) -> set[str]:
        return {f"{code:06X}" for code in self.car.module(BATTERY).codes.matching(0x01)}


def test_vin_is_valid_and_of_no_maker() -> None:
    vin = Vin(ElectricCar(1).vin)
    assert vin.verify_checksum()
    assert vin.manufacturer == "UnsupportedBrand"


def test_leaks_are_in_parallel() -> None:
    """Closed form: the reciprocal of all reciprocals; opened contactors leave the battery alone."""
    iso = Isolation(0)
    iso.damp = 0.0
    iso.closed = True
    parts = [iso.pole_kohm(negative=False, only=name) for name in PARTS_MOHM]
    assert iso.pole_kohm(negative=False) == pytest.approx(1.0 / sum(1.0 / part for part in parts))
    iso.leak_kohm["motor"] = 100.0
    assert iso.true_kohm == pytest.approx(1.0 / (1.0 / iso.pole_kohm(negative=False) + 1.0 / 100.0))
    iso.closed = False
    assert iso.true_kohm == pytest.approx(iso.pole_kohm(negative=False, only="battery"))


def test_the_reading_wants_time_and_then_agrees_with_the_truth() -> None:
    bay = Bay()
    bay.do("key", 5.0, position="ready")
    assert bay.ask("22A1C0")[3:] == b"\xff\xff\x00"
    bay.wait(60.0)
    assert bay.kohm() == pytest.approx(bay.car.truth()["isolation, kΩ"], rel=0.03)
    assert bay.codes() == set()


@pytest.mark.parametrize("request_hex", ["1003", "2701", "2EA1C00000", "310103E8", "2FA1C203"])
def test_nothing_is_commanded(request_hex: str) -> None:
    bay = Bay()
    bay.do("key", 3.0, position="on")
    answer = bay.ask(request_hex)
    assert answer[:1] == (b"\x50" if request_hex == "1003" else b"\x7f")
    assert not bay.car.truth()["contactors closed"]


def test_the_meter_waits_for_the_disconnect() -> None:
    bay = Bay("coolant in the compressor")
    bay.set()
    with pytest.raises(InputError, match="disconnect"):
        bay.do("insulation_tester", part="compressor")
    bay.do("pull_disconnect", 60.0)
    with pytest.raises(InputError, match="disconnect"):
        bay.do("insulation_tester", part="compressor")
    bay.wait(600.0)
    assert bay.do("insulation_tester", part="compressor") < 0.1
    assert bay.do("insulation_tester", part="heater") > 5.0
    with pytest.raises(InputError, match="disconnect is out"):
        bay.do("key", position="ready")


def test_a_leak_behind_the_contactors_shows_when_they_close() -> None:
    bay = Bay("cable chafed at the motor")
    bay.set()
    bay.do("key", 80.0, position="on")
    sound = bay.kohm()
    bay.do("key", 80.0, position="ready")
    assert bay.kohm() < 160 < sound
    assert bay.codes() == {"0AA600"}


def read(bay: Bay) -> None:
    """Ready for a minute and a half; isolation."""
    bay.do("key", 20.0, position="ready")
    bay.set()
    bay.wait(80.0)
    bay.seen["isolation"] = bay.kohm()


def follow(bay: Bay) -> None:
    """How the reading follows when the contactors open."""
    bay.do("key", 60.0, position="ready")
    bay.set()
    bay.do("key", 80.0, position="on")
    bay.seen["opened"] = bay.kohm()
    bay.seen["supply"] = bay.car.supply.volts


def talk(bay: Bay) -> None:
    """Eighty requests over the bus."""
    bay.do("key", 30.0, position="on")
    bay.set()
    answers: list[tuple[float, bytes]] = []
    frames: list[bytes] = []
    bay.bus.join("ear", lambda frame: frames.append(frame.data) if frame.id == 0x7BE else None)
    settings = TransportSettings(0x7BE, 0x7B6)
    node = IsoTpNode(bay.bus, bay.clock, settings, lambda a, _f: answers.append((bay.clock.now(), a)), name="tester")
    times: list[float] = []
    for _ in range(80):
        before, start = len(answers), bay.clock.now()
        node.send(bytes.fromhex("22F18C"))
        bay.wait(0.1)
        times.append(answers[before][0] - start if len(answers) > before else 9.0)
    bay.seen |= {"times": fmean(times), "silent": times.count(9.0), "frames": len(frames)}
    bay.seen |= {"answers": {answer for _, answer in answers}, "repeats": bay.bus.counts.destroyed}


EXPECTED: dict[str, tuple[Callable[[Bay], None], str, float | None]] = {
    "coolant in the compressor": (read, "isolation", 500.0),
    "cable chafed at the motor": (read, "isolation", 500.0),
    "heater element leaks": (read, "isolation", 500.0),
    "battery housing wet": (read, "isolation", 500.0),
    "connectors damp": (read, "isolation", 500.0),
    "monitor reads": (read, "isolation", 500.0),
    "monitor stands still": (follow, "opened", 1000.0),
    "battery nearly flat": (follow, "supply", 0.05),
    "frames lost": (talk, "silent", 1.0),
    "frames doubled": (talk, "frames", 3.0),
    "frames late": (talk, "times", 0.0005),
    "frames changed": (talk, "answers", None),
    "error frames": (talk, "repeats", 20.0),
    "gateway blocks": (talk, "silent", 70.0),
    "bus loaded": (talk, "times", 0.0001),
    "node floods": (talk, "silent", 70.0),
}

_SOUND: dict[str, dict[str, Any]] = {}


def test_every_fault_stands_in_the_table() -> None:
    assert set(EXPECTED) == set(ELECTRIC_FAULTS)


@pytest.mark.parametrize("name", ELECTRIC_FAULTS)
def test_a_fault_has_its_effect(name: str) -> None:
    scenario, key, least = EXPECTED[name]
    if scenario.__name__ not in _SOUND:
        sound = Bay()
        scenario(sound)
        _SOUND[scenario.__name__] = sound.seen
    bay = Bay(name)
    scenario(bay)
    before, after = _SOUND[scenario.__name__][key], bay.seen[key]
    assert after != before if least is None else abs(after - before) >= least, f"{before} against {after}"


def test_a_saved_car_goes_on_the_same() -> None:
    one = Bay("heater element leaks")
    one.set()
    one.do("key", 40.0, position="ready")
    other = ElectricCar(3)
    other.restore(json.loads(json.dumps(one.car.save())))
    assert other.truth() == one.car.truth()
