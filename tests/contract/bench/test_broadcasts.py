"""The cars' cyclic frames, read by independent libraries with the DBC that describes them."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import asleft.bench.cars
from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock
from asleft.model.frame import CanFrame

DBC = Path(asleft.bench.cars.__file__).with_name("petrol.dbc")
Decode = Callable[[CanFrame], dict[str, float]]


def by_canmatrix() -> Decode:
    import canmatrix
    import canmatrix.formats

    (matrix,) = canmatrix.formats.loadp(str(DBC)).values()

    def decode(frame: CanFrame) -> dict[str, float]:
        known = matrix.frame_by_id(canmatrix.ArbitrationId(frame.id, extended=False))
        return {name: float(signal.phys_value) for name, signal in known.decode(frame.data).items()}

    return decode


def by_cantools() -> Decode:
    import cantools

    database = cantools.database.load_file(DBC)
    return lambda frame: dict(database.decode_message(frame.id, frame.data))


missing = pytest.mark.skipif(importlib.util.find_spec("cantools") is None, reason="cantools is not installed")


@pytest.mark.parametrize("make", [by_canmatrix, pytest.param(by_cantools, marks=missing)])
def test_broadcasts_say_what_the_car_does(make: Callable[[], Decode]) -> None:
    decode = make()
    clock = StepClock()
    bus = InLoopBus(clock)
    frames: dict[int, CanFrame] = {}
    bus.join("ear", lambda frame: frames.__setitem__(frame.id, frame))
    car: Any = PetrolCar(seed=4, warm=True)
    car.attach(bus, clock)
    clock.run_until(1.0)
    assert frames == {}
    car.act("key", position="on")
    clock.run_until(3.0)
    car.act("key", position="start")
    clock.run_until(20.0)
    engine, wheels = decode(frames[0x120]), decode(frames[0x1B0])
    truth = car.truth()
    assert engine["EngineSpeed"] == pytest.approx(truth["engine speed, 1/min"], abs=60.0)
    assert engine["CoolantTemperature"] == pytest.approx(truth["coolant, °C"], abs=4.0)
    assert engine["AcceleratorPedal"] == 0.0
    assert set(wheels.values()) == {0.0}
    car.act("pedal", percent=20.0)
    clock.run_until(20.5)
    assert decode(frames[0x120])["AcceleratorPedal"] == pytest.approx(20.0, abs=0.5)
