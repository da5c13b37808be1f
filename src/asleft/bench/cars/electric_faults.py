"""Faults of the electric car: leaks of parts, damp, a monitor that tells wrong, a weak 12 V battery, and the link's."""

from __future__ import annotations

from typing import Any

from .faults import Family, Fault, table
from .link_faults import LINK_FAULTS
from .petrol_faults import How, number


def _leak(part: str) -> How:
    """A leak of a part's negative pole to the body."""

    def put(car: Any, size: float) -> None:
        car.isolation.leak_kohm[part] = size

    def mend(car: Any) -> None:
        car.isolation.leak_kohm.pop(part, None)

    return put, mend


def _f(family: Family, name: str, unit: str, sizes: tuple[float, float, float], shows: str, how: How) -> Fault[Any]:
    return Fault(name, family, unit, *sizes, shows, *how)


_ON = (1.0, 1.0, 1.0)
_B = "supply.battery.charge"
#: Faults of the link that look at an engine module, which this car has not.
_NOT_HERE = frozenset({"second tester", "other tester clears", "adapter drops at write", "engine module bus off"})

_OWN = (
    _f(Family.PARTS, "coolant in the compressor", "kohm", (5.0, 2000.0, 90.0), "isolation", _leak("compressor")),
    _f(Family.PARTS, "cable chafed at the motor", "kohm", (0.5, 2000.0, 150.0), "isolation", _leak("motor")),
    _f(Family.PARTS, "heater element leaks", "kohm", (5.0, 3000.0, 600.0), "isolation", _leak("heater")),
    _f(Family.PARTS, "battery housing wet", "kohm", (5.0, 3000.0, 300.0), "isolation", _leak("battery")),
    _f(Family.CONDITIONS, "connectors damp", "share", (0.1, 1.0, 0.8), "isolation", number("isolation.damp", 0.05)),
    _f(Family.MEASURE, "monitor reads", "share", (0.2, 3.0, 1.6), "isolation", number("isolation.monitor_gain", 1.0)),
    _f(Family.MEASURE, "monitor stands still", "1", _ON, "isolation does not follow", number("isolation.stuck", False)),
    _f(Family.SUPPLY, "battery nearly flat", "share", (0.0, 0.5, 0.05), "supply", number(_B, 0.85)),
)  # fmt: skip

ELECTRIC_FAULTS = table(*_OWN, *(fault for fault in LINK_FAULTS if fault.name not in _NOT_HERE))
