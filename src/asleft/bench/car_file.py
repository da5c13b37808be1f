"""Bench-car files: a car of the garage with another seed, options, faults, acts done and module or gateway manners.

A file in TOML::

    car = "estate"
    seed = 12
    options = { warm = true }

    [[fault]]
    name = "floor slopes"
    size = 1.2

    [[act]]
    name = "charger"
    args = { on = true }

    [slower]                  # s added to every answer of a module
    radio = 0.08

    [gateway]
    limit = 2
    overload = "drop"

Everything wrong in it is told at once: where it stands, what was meant perhaps, what there is.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, cast

import msgspec

from asleft.model.errors import Code, InputError

from .gateway import GatewaySettings, Overload

#: How a file's name ends.
SUFFIX = ".toml"


class FaultLine(msgspec.Struct, forbid_unknown_fields=True):
    """One fault by name; size None: its usual one."""

    name: str
    size: float | None = None


class ActLine(msgspec.Struct, forbid_unknown_fields=True):
    """One act of driver or workshop, done before anybody asks the car anything."""

    name: str
    args: dict[str, Any] = {}


class GatewayLines(msgspec.Struct, forbid_unknown_fields=True):
    """What the gateway does; None: as the car has it."""

    limit: int | None = None
    overload: Overload | None = None


class CarFile(msgspec.Struct, forbid_unknown_fields=True):
    """A whole file. car: in the garage. slower: module -> s added to each answer."""

    car: str
    seed: int = 0
    options: dict[str, Any] = {}
    fault: list[FaultLine] = []
    act: list[ActLine] = []
    slower: dict[str, float] = {}
    gateway: GatewayLines | None = None


_FIELDS = {
    "fault": FaultLine.__struct_fields__,
    "act": ActLine.__struct_fields__,
    "gateway": GatewayLines.__struct_fields__,
}


def read_car_file(path: Path) -> CarFile:
    """The content of a file. Raises InputError (car-file-bad): not there, no TOML, unknown fields, wrong kinds."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise _wrong(path, f"cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise _wrong(path, f"is not TOML: {error}") from error
    _known_fields(path, content)
    try:
        return msgspec.convert(content, CarFile)
    except msgspec.ValidationError as error:
        raise _wrong(path, str(error)) from error


def set_up(path: Path, content: CarFile, car: Any) -> None:
    """Bring a new car to what the file says of it; what needs a bus is done when the car is attached.

    Raises: InputError (car-file-bad): faults, acts or modules that this car has not.
    """
    troubles = [
        *_unknown("fault", [line.name for line in content.fault], car.act("faults")),
        *_unknown("act", [line.name for line in content.act], car.acts()),
        *_unknown("module", content.slower, [module.name for module in car.modules]),
    ]
    if content.gateway is not None and car.wiring is None:
        troubles.append(f"the {car.name} has no gateway to set")
    if troubles:
        raise _wrong(path, "; ".join(troubles))
    if content.gateway is not None:
        given = {name: value for name, value in msgspec.structs.asdict(content.gateway).items() if value is not None}
        wiring = cast("GatewaySettings", car.wiring)
        car.wiring = replace(wiring, **given)
    car.when_attached(lambda: _when_attached(path, content, car))


def _when_attached(path: Path, content: CarFile, car: Any) -> None:
    for module in car.modules:
        if module.name in content.slower:
            module.be_slow(content.slower[module.name])
    try:
        for act in content.act:
            car.act(act.name, **act.args)
        for fault in content.fault:
            car.act("fault", name=fault.name, size=fault.size)
    except InputError as error:
        raise _wrong(path, error.detail) from error


def _known_fields(path: Path, content: dict[str, Any]) -> None:
    """Fields of the file and of the tables in it that nobody knows, with what was meant perhaps."""
    troubles = _unknown("field", content, CarFile.__struct_fields__)
    for name, fields in _FIELDS.items():
        inside: Any = content.get(name, [])
        many = isinstance(inside, list)
        tables = cast("list[Any]", inside if many else [inside])
        for number, table in enumerate(tables, start=1):
            if isinstance(table, dict):
                place = f"field of {name} {number}" if many else f"field of {name}"
                troubles += _unknown(place, cast("dict[str, Any]", table), fields)
    if troubles:
        raise _wrong(path, "; ".join(troubles))


def _unknown(what: str, given: Iterable[str], known: Iterable[str]) -> list[str]:
    there = list(known)
    found: list[str] = []
    for name in given:
        if name not in there:
            near = get_close_matches(name, there, n=1)
            meant = f", perhaps {near[0]!r}" if near else ""
            found.append(f"no {what} {name!r}{meant}; there are {', '.join(there)}")
    return found


def _wrong(path: Path, why: str) -> InputError:
    return InputError(Code.CAR_FILE_BAD, why, where=str(path))
