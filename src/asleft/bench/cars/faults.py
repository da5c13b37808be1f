"""Faults of bench cars: what a fault is, how one is set and mended.

A car class lists its faults by name; the act ``fault`` sets one with a size, ``mend`` takes it away::

    car.act("fault", name="intake leak", size=2.0)   # mm²
    car.act("faults")                                # what there is, with units and sizes
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum, unique
from typing import Any, Generic, TypeVar

from asleft.model.errors import Code, InputError

CarT = TypeVar("CarT")


@unique
class Family(StrEnum):
    """Where a fault sits."""

    CONDITIONS = "conditions"
    HAND = "hand"
    MEASURE = "measure"
    CODING = "coding"
    LINK = "link"
    SUPPLY = "supply"
    PARTS = "parts"


@dataclass(frozen=True)
class Fault(Generic[CarT]):
    """One fault of a kind of car.

    Attributes:
        name: how it is asked for. family: where it sits. unit: of its size. low, high: sizes that make sense.
        typical: size when none is given.
        shows: the signal, code or answer that it changes, in plain words.
        put: sets it in a car with a size. mend: takes it away.
    """

    name: str
    family: Family
    unit: str
    low: float
    high: float
    typical: float
    shows: str
    put: Callable[[CarT, float], None]
    mend: Callable[[CarT], None]


class FaultBox(Generic[CarT]):
    """The faults of one car and those set in it.

    Args: car: whose faults. known: what there is. Attributes: active: name -> size of what is set.
    """

    def __init__(self, car: CarT, known: Mapping[str, Fault[CarT]]) -> None:
        self._car = car
        self._known = known
        self.active: dict[str, float] = {}

    def listing(self) -> dict[str, dict[str, Any]]:
        """What there is: name -> family, unit, sizes, what it shows."""
        return {
            fault.name: {
                "family": fault.family.value,
                "unit": fault.unit,
                "low": fault.low,
                "high": fault.high,
                "typical": fault.typical,
                "shows": fault.shows,
                "set": self.active.get(fault.name),
            }
            for fault in self._known.values()
        }

    def put(self, name: str, size: float | None = None) -> float:
        """Set a fault; gives its size. Raises InputError: unknown, or a size outside what makes sense."""
        fault = self.of(name)
        size = fault.typical if size is None else size
        if not fault.low <= size <= fault.high:
            raise InputError(
                Code.ACT_UNKNOWN, f"{name}: {size} {fault.unit} is outside {fault.low} to {fault.high} {fault.unit}"
            )
        fault.put(self._car, size)
        self.active[name] = size
        return size

    def mend(self, name: str) -> None:
        """Take a fault away; what it has done to memories and codes stays. Raises InputError: unknown."""
        self.of(name).mend(self._car)
        self.active.pop(name, None)

    def of(self, name: str) -> Fault[CarT]:
        """The fault of this name. Raises InputError: unknown."""
        if name not in self._known:
            raise InputError(Code.ACT_UNKNOWN, f"no fault {name!r}; there are {', '.join(self._known)}")
        return self._known[name]


def table(*faults: Fault[CarT]) -> dict[str, Fault[CarT]]:
    """Faults by name. Raises ValueError: two of the same name."""
    named = {fault.name: fault for fault in faults}
    if len(named) != len(faults):
        raise ValueError("two faults have the same name")
    return named
