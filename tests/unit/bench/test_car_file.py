"""Bench-car files: what they set, and what is said of every mistake in one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import StepClock
from asleft.bench.garage import make_car
from asleft.bench.gateway import Overload
from asleft.model.errors import InputError

WHOLE = """
car = "estate"
seed = 12
options = { warm = true }
[[fault]]
name = "floor slopes"
size = 1.2
[[fault]]
name = "frames lost"
[[act]]
name = "charger"
args = { on = true }
[[act]]
name = "key"
args = { position = "on" }
[slower]
radio = 0.08
[gateway]
limit = 2
overload = "drop"
"""


def written(folder: Path, content: str) -> str:
    path = folder / "car.toml"
    path.write_text(content, encoding="utf-8")
    return str(path)


def test_a_whole_file_is_followed(tmp_path: Path) -> None:
    clock = StepClock()
    car: Any = make_car(written(tmp_path, WHOLE))
    bus = InLoopBus(clock)
    car.attach(bus, clock)
    assert (car.name, car.powered) == ("estate", True)
    assert car.truth()["floor slope, °"] == 1.2
    assert car.truth()["coolant, °C"] > 75.0
    assert car.truth()["faults"] == {"floor slopes": 1.2, "frames lost": 0.02}
    assert bus.faults.lost == 0.02
    assert (car.wired_gateway.limit, car.wired_gateway.overload) == (2, Overload.DROP)
    assert car.powertrain.supply.charger_v > 13.0


def test_the_same_file_gives_the_same_car(tmp_path: Path) -> None:
    path = written(tmp_path, 'car = "petrol"\nseed = 3\n')
    assert make_car(path).truth() == make_car("petrol", 3).truth()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('car = "petrol"\nsed = 3', ["no field 'sed', perhaps 'seed'"]),
        ("seed = 3", ["car"]),
        ('car = "petrol', ["is not TOML", "end of document"]),
        ('car = "petrel"', ["no bench car 'petrel'", "petrol"]),
        ('car = "petrol"\nseed = "x"', ["$.seed"]),
        ('car = "petrol"\n[[fault]]\nname = "intake leek"', ["no fault 'intake leek', perhaps 'intake leak'"]),
        ('car = "petrol"\n[[fault]]\nnam = "x"', ["no field of fault 1 'nam', perhaps 'name'"]),
        ('car = "petrol"\n[[act]]\nname = "fly"', ["no act 'fly'", "key"]),
        ('car = "petrol"\n[slower]\nradio = 1.0', ["no module 'radio'", "cluster"]),
        ('car = "petrol"\n[gateway]\nlimit = 1', ["has no gateway"]),
        ('car = "estate"\n[gateway]\noverload = "explode"', ["explode", "$.gateway.overload"]),
        ('car = "petrol"\noptions = { wings = 2 }', ["wings"]),
    ],
)
def test_mistakes_are_told_with_their_place_and_what_there_is(tmp_path: Path, content: str, said: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        make_car(written(tmp_path, content))
    assert all(part in str(caught.value.sentence()) for part in said), caught.value.sentence()


def test_a_size_that_makes_no_sense_is_told_with_the_file(tmp_path: Path) -> None:
    clock = StepClock()
    car = make_car(written(tmp_path, 'car = "petrol"\n[[fault]]\nname = "intake leak"\nsize = 99'))
    with pytest.raises(InputError, match="outside") as caught:
        car.attach(InLoopBus(clock), clock)
    assert "car.toml" in caught.value.sentence()


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        make_car(str(tmp_path / "none.toml"))
