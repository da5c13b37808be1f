"""Every fault of the petrol car changes what it says it changes, against the same seed without it."""

from __future__ import annotations

import pytest

from asleft.bench.cars.faults import Family
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.cars.petrol_faults import PETROL_FAULTS
from asleft.model.errors import InputError
from kit.fault_watch import COMMON, SIZES, Kind, Watch, effect, engine_off, learn, sound

PETROL = Kind(
    lambda: PetrolCar(5, warm=True),
    (("body", 0x3B30), ("brakes", 0x3B20), ("engine", 0x3B10), ("gateway", 0x3B50), ("cluster", 0xF190)),
)

EXPECTED = COMMON | {
    "coding bytes swapped": (engine_off, "body 3B30", None),
    "coding checksum wrong": (engine_off, "codes", None),
    "coding lost": (engine_off, "codes", None),
    "market wrong": (engine_off, "engine 3B10", None),
    "unknown bits gone": (engine_off, "gateway 3B50", None),
    "decimal for hexadecimal": (engine_off, "engine 3B10", None),
    "used module fitted": (engine_off, "cluster F190", None),
}


def test_every_fault_stands_in_the_table():
    assert set(EXPECTED) == set(PETROL_FAULTS)
    assert {fault.family for fault in PETROL_FAULTS.values()} == set(Family)


@pytest.mark.parametrize("name", PETROL_FAULTS)
def test_a_fault_has_its_effect(name: str):
    watch = effect(PETROL, name, *EXPECTED[name])
    assert watch.car.truth()["faults"] == {name: SIZES.get(name, PETROL_FAULTS[name].typical)}


@pytest.mark.parametrize("name", ["supply dips while learning", "intake leak", "press partial", "coding lost"])
def test_a_mended_fault_is_gone(name: str):
    scenario, key, _ = EXPECTED[name]
    watch = Watch(PETROL, None)
    watch.car.act("fault", name=name)
    watch.car.act("mend", name=name)
    scenario(watch)
    assert watch.seen[key] == sound(PETROL, scenario)[key]
    assert watch.car.truth()["faults"] == {}


def test_the_dip_refuses_with_supply_too_low():
    """93: voltage too low (ISO 14229-1 annex A; number recalled)."""
    watch = Watch(PETROL, "supply dips while learning")
    learn(watch)
    assert watch.seen["learn"] == "0393"
    assert sound(PETROL, learn)["learn"] == "0200"


def test_faults_add_up():
    """Two at once show both effects."""
    watch = Watch(PETROL, None)
    watch.car.act("fault", name="load left on")
    watch.car.act("fault", name="coolant sensor offset", size=-20.0)
    engine_off(watch)
    assert sound(PETROL, engine_off)["42"] - watch.seen["42"] > 100.0
    assert sound(PETROL, engine_off)["05"] - watch.seen["05"] > 18.0


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
