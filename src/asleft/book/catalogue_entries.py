"""The catalogue: all functions of the trade in words. What the plan needs of them in numbers stands in ``functions``.

Read once, when a text is wanted; help texts and plans do not need it::

    catalogue()["throttle-stop-learn"].proof

Source: each entry's ``provenance``; common practice unless it says more.
"""

from __future__ import annotations

from enum import StrEnum, unique
from functools import cache
from pathlib import Path

import msgspec

from .fields import CodeText, Slug, Text
from .files import read_struct
from .functions import FUNCTIONS, Kind

FOLDER = Path(__file__).parent / "catalogue"


@unique
class Hazard(StrEnum):
    """What can hurt somebody, or breaks a law, during a function."""

    RUNNING_ENGINE = "running-engine"
    STARTS_ITSELF = "starts-itself"
    MOVING_PARTS = "moving-parts"
    CREEPING = "creeping"
    HOT_PARTS = "hot-parts"
    EXHAUST_GAS = "exhaust-gas"
    FUEL_PRESSURE = "fuel-pressure"
    FUEL_VAPOUR = "fuel-vapour"
    BATTERY = "battery"
    BRAKES = "brakes"
    STEERING = "steering"
    LIFTING = "lifting"
    ROAD = "road"
    RESTRAINTS = "restraints"
    HIGH_VOLTAGE = "high-voltage"
    THEFT_DETERRENCE = "theft-deterrence"
    EMISSIONS = "emissions"
    ODOMETER = "odometer"


class Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One function in words.

    Attributes:
        slug: of the function. why: its purpose. after: work that calls for it.
        skipped: what is seen when it is left out; codes: trouble codes named there.
        entry: conditions. wire, hand: how it is done. done: how it says so. proof: what shows that it worked.
        fails: how it fails and why. caution: before the step. state: car state and minutes. order: before and after.
        hazards: closed list. provenance: where the statements come from.
    """

    slug: Slug
    why: Text
    after: Text
    skipped: Text
    codes: tuple[CodeText, ...]
    entry: Text
    wire: Text
    hand: Text
    done: Text
    proof: Text
    fails: Text
    caution: Text
    state: Text
    order: Text
    hazards: tuple[Hazard, ...]
    provenance: tuple[Text, ...]


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    entries: tuple[Entry, ...]


@cache
def catalogue() -> dict[str, Entry]:
    """All entries by slug. Raises ProcedureError: a file of the program is damaged."""
    files = (read_struct(path.read_bytes(), path.name, _File).value for path in sorted(FOLDER.glob("*.yaml")))
    return {entry.slug: entry for file in files for entry in file.entries}


#: The usual caution for each hazard, in our words; the licensed manual and local codes outrank it.
USUAL_CAUTION: dict[Hazard, str] = {
    Hazard.RUNNING_ENGINE: "Engine running: parking brake on, clear of belts and fan, nobody in front of the car.",
    Hazard.STARTS_ITSELF: "The engine must not start by itself: ready off, start-stop off, key away from the car.",
    Hazard.MOVING_PARTS: "Parts move by themselves and pinch: keep fingers and tools away until the key is off.",
    Hazard.CREEPING: "The car may creep: foot brake or parking brake held, wheels chocked, people clear.",
    Hazard.HOT_PARTS: "Hot parts: let them cool or wear protection; nothing that burns nearby.",
    Hazard.EXHAUST_GAS: "Exhaust gas: extraction on, or outdoors.",
    Hazard.FUEL_PRESSURE: "Fuel under very high pressure: never loosen a line under pressure; wait after key-off.",
    Hazard.FUEL_VAPOUR: "Fuel vapour: no flame, no spark, low pressure only.",
    Hazard.BATTERY: "Battery: acid, hydrogen, short circuit; earth terminal off first, on last.",
    Hazard.BRAKES: "Brakes: pump the pedal and feel it firm before the car moves; a second person checks.",
    Hazard.STEERING: "Steering: hands and fingers off the wheel rim and out of the arches while it moves by itself.",
    Hazard.LIFTING: "Lifting: stands and jacking points as the manual says; nobody under an unsupported car.",
    Hazard.ROAD: "Road drive: one drives, the other reads; traffic law first; no emergency-brake tests in traffic.",
    Hazard.RESTRAINTS: "Restraints: isolate the supply and wait as the manual says; never probe squib wiring.",
    Hazard.HIGH_VOLTAGE: "High voltage: qualified persons only; locked out, proved dead, second person present.",
    Hazard.THEFT_DETERRENCE: "Theft deterrence: owner's authority recorded; authorised access only, never guessed.",
    Hazard.EMISSIONS: "Emissions law: never used to defeat monitoring or to fake a repair.",
    Hazard.ODOMETER: "Odometer law: the distance shown stays the distance driven; read only here.",
}

#: Restraint rules that stand before all of that family.
BLOCK_R = (
    "Isolate the supply as the manual says and wait the time it gives. Never probe squib wiring. No battery support "
    "while restraint connectors are unplugged. Nothing is energised with a seat or trim loose. A deployed module is "
    "replaced by the manual. A second person checks. This project writes nothing to a restraint module: it reads, "
    "verifies, and records what authorised equipment did. Event data are never erased."
)

#: High-voltage rules that stand before all of that family.
BLOCK_H = (
    "Only persons qualified for high voltage. Lock out, service disconnect out, wait the discharge time of the manual, "
    "prove dead with a proved meter at the points it names, tested gloves, a second person, a barrier. This project "
    "never closes a contactor and energises nothing."
)


def usual_cautions(function: str) -> tuple[str, ...]:
    """What is usually warned of before a function of the catalogue; empty for one that is not in it."""
    entry = catalogue().get(function)
    if entry is None:
        return ()
    block = {Kind.RESTRAINT: (BLOCK_R,), Kind.HIGH_VOLTAGE: (BLOCK_H,)}.get(FUNCTIONS[function].kind, ())
    return (*block, *(USUAL_CAUTION[hazard] for hazard in entry.hazards))


#: Words of which one must stand in a caution for a hazard (small letters).
CAUTION_WORDS: dict[Hazard, tuple[str, ...]] = {
    Hazard.RUNNING_ENGINE: ("running engine", "engine running", "engine runs", "belt"),
    Hazard.STARTS_ITSELF: ("start by itself", "start itself", "starts itself", "start-stop", "ready off"),
    Hazard.MOVING_PARTS: ("finger", "pinch", "moves", "move by itself", "spin", "hands clear", "keep hands"),
    Hazard.CREEPING: ("creep", "parking brake", "chock", "foot brake", "p and n", "p/n"),
    Hazard.HOT_PARTS: ("hot",),
    Hazard.EXHAUST_GAS: ("exhaust", "extraction", "ventilation", "carbon monoxide"),
    Hazard.FUEL_PRESSURE: ("pressure",),
    Hazard.FUEL_VAPOUR: ("vapour", "ignition source", "no flame"),
    Hazard.BATTERY: ("acid", "short", "hydrogen"),
    Hazard.BRAKES: ("brake", "pedal", "stability"),
    Hazard.STEERING: ("steering", "wheel rim"),
    Hazard.LIFTING: ("lift", "stand", "under the car", "wheels"),
    Hazard.ROAD: ("road", "drive", "traffic", "drives"),
    Hazard.RESTRAINTS: ("restraint", "airbag", "squib"),
    Hazard.HIGH_VOLTAGE: ("high voltage", "high-voltage", "hv"),
    Hazard.THEFT_DETERRENCE: ("authori", "owner", "theft"),
    Hazard.EMISSIONS: ("emission", "law", "legal"),
    Hazard.ODOMETER: ("odometer", "mileage", "distance"),
}
