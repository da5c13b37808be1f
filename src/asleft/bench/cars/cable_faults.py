"""Faults of the older petrol car: those of any petrol engine and hand, and of its own throttle."""

from __future__ import annotations

from .faults import Family, Fault, table
from .petrol_faults import CONDITIONS, HAND, PARTS, SUPPLY, number

#: Faults of the newer car that this one cannot have.
_NOT_HERE = frozenset({"supply dips while learning", "charger ripple", "engine module busy"})

_OWN = (
    Fault(
        "sensor shifted", Family.MEASURE, "%", 0.3, 4.0, 2.0, "foot off is not recognised",
        *number("powertrain.throttle.sensor_pct"),
    ),
)  # fmt: skip

CABLE_FAULTS = table(*(fault for fault in (*CONDITIONS, *HAND, *SUPPLY, *PARTS) if fault.name not in _NOT_HERE), *_OWN)
