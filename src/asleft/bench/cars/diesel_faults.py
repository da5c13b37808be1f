"""Faults of the diesel: those that any of our engines and hands can have, and of its injectors and return valve."""

from __future__ import annotations

from typing import Any

from .faults import Family, Fault, table
from .link_faults import LINK_FAULTS
from .petrol_faults import CONDITIONS, HAND, MEASURE, PARTS, SUPPLY, How, number

#: Faults of the petrol cars that this one shares.
_SHARED = frozenset({
    "coolant frozen", "engine speed frozen", "manifold pressure offset", "intake temperature offset",
    "coolant sensor offset", "pedal sensor noisy", "fan cycles", "charger ripple", "battery nearly flat",
    "bad contact", "alternator dead", "modules fall asleep", "thermostat stuck open", "misfire", "pedal bracket bent",
    "engine module busy",
})  # fmt: skip
_M = "powertrain.defects.meter_gain"
_V = "powertrain.plate.valve."


def _cylinder(kind: str, cylinder: int) -> How:
    """A number of one cylinder."""

    def put(car: Any, size: float) -> None:
        getattr(car.injectors, kind)[cylinder - 1] = size

    return put, lambda car: put(car, 0.0)


def _own(family: Family, name: str, unit: str, sizes: tuple[float, float, float], shows: str, how: How) -> Fault[Any]:
    return Fault(name, family, unit, *sizes, shows, *how)


OWN = (
    _own(Family.PARTS, "injector 3 worn", "mg", (0.2, 6.0, 3.5), "code P0269", _cylinder("worn_mg", 3)),
    _own(Family.PARTS, "cylinder 2 weak", "share", (0.05, 0.9, 0.6), "code P0266", _cylinder("weak", 2)),
    _own(Family.PARTS, "carbon on the return seat", "%", (1.0, 60.0, 12.0), "code P0404", number(_V + "seat_pct")),
    _own(Family.PARTS, "return valve sticks", "%", (2.0, 80.0, 45.0), "return error", number(_V + "stiction_pct")),
    _own(Family.PARTS, "return gear worn", "%", (20.0, 95.0, 60.0), "learn refused", number(_V + "travel_pct", 100.0)),
    _own(Family.MEASURE, "return sensor offset", "%", (-9.0, 9.0, 6.5), "learn refused", number(_V + "offset_pct")),
    _own(Family.MEASURE, "air meter reads", "share", (0.5, 1.5, 0.8), "air flow", number(_M, 1.0)),
)  # fmt: skip

DIESEL_FAULTS = table(
    *CONDITIONS,
    *HAND,
    *(fault for fault in (*MEASURE, *SUPPLY, *PARTS) if fault.name in _SHARED),
    *LINK_FAULTS,
    *OWN,
)
