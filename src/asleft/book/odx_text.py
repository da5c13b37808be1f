"""Chosen services of a data base as the text of a procedure file: a draft to be completed by hand.

One entry a line, every text in quotes, numbers as plain decimals; what the text says is read back by the loader before
it is given out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.step_more import Scaling, ScalingKind

from .loader import read_procedure
from .odx import Imported, Service, Value

_ACTING = {"write", "start", "stop"}


class Frame(msgspec.Struct, frozen=True):
    """What a data base does not say: function, name in the book, module, car, who entered it."""

    function: str
    entered_by: str
    id: str = ""
    module: str = "engine"
    make: str = ""
    model: str = ""


def odx_procedure(found: Imported, names: Sequence[str], frame: Frame) -> str:
    """The procedure file of some services, in the order given.

    Raises: InputError: import-impossible, a service that is beyond our form, unknown, or a second routine.
        ProcedureError: what came out is no procedure (a function or name that cannot be).
    """
    services = [_service(found, name) for name in names]
    routines = {s.identifier for s in services if s.kind in {"start", "stop", "result"}}
    if len(routines) > 1:
        raise InputError(Code.IMPORT_IMPOSSIBLE, "one procedure has one routine; choose the services of one")
    text = "\n".join(_lines(found, services, frame, routines)) + "\n"
    read_procedure(text.encode(), f"{found.variant}.yaml")
    return text


def _service(found: Imported, name: str) -> Service:
    service = next((s for s in found.taken if s.name == name), None)
    if service is None:
        why = found.refused.get(name, f"{found.variant} has no service of this name")
        raise InputError(Code.IMPORT_IMPOSSIBLE, f"{name}: {why}", found.file)
    return service


def _lines(found: Imported, services: Sequence[Service], frame: Frame, routines: set[int]) -> Iterator[str]:
    yield f"# From the data base {found.file}, variant {found.variant}. A draft: entry conditions, cautions, limits and"
    yield "# proof are not in a data base; complete them from the licensed manual, and have the numbers checked."
    yield f"id: {_slug(frame.id or f'{found.variant}-{frame.function}')}"
    yield f"function: {frame.function}"
    yield f"name: {_quoted(f'{frame.function}, {found.variant}')}"
    yield "revision: 1"
    yield f"module: {frame.module}"
    if frame.make:
        yield f"applies: {_map(make=frame.make, model=frame.model)}"
    said: dict[str, object] = {"title": found.file, "edition": f"variant {found.variant}", "page": "data base"}
    yield f"source: {_map(**said, **{'entered-by': frame.entered_by})}"
    for identifier in routines:
        row = f"{found.file}, variant {found.variant}"
        yield f"identifier: {{printed: hex, where: {_quoted(f'{row}: {identifier:04X}')}}}"
    yield "ways:"
    yield "  by-wire:"
    for service in services:
        yield from (f"    - {step}" for step in _steps(service))


def _steps(service: Service) -> Iterator[str]:
    name, identifier = _slug(service.name), f"{service.identifier:04X}"
    match service.kind:
        case "session":
            yield _map(type="session", id=name, session=service.identifier)
        case "start" | "stop" | "result":
            yield _map(type=f"routine-{service.kind}", id=name)
        case "read":
            for value in service.values:
                yield _read(name if len(service.values) == 1 else f"{name}-{_slug(value.name)}", identifier, value)
        case _:
            value = service.values[0]
            # What is there now is read and kept first, so that it can be put back.
            yield _read(f"{name}-before", identifier, value)
            unit = "" if value.scaling.unit == "1" else value.scaling.unit
            typed = f"{name}-value"
            yield _map(type="type-in", id=typed, text=f"{value.name} as the page prints it", save=typed, unit=unit)
            yield _map(
                type="write",
                id=name,
                name=value.name,
                identifier=identifier,
                printed="hex",
                saved=typed,
                scaling=_Plain(_scaling(value.scaling)),
                restore="the value read before is written back",
            )


def _read(step: str, identifier: str, value: Value) -> str:
    scaling = _Plain(_scaling(value.scaling))
    return _map(type="read", id=step, name=value.name, identifier=identifier, printed="hex", scaling=scaling, save=step)


class _Plain(str):
    """Text that is YAML already."""


def _scaling(scaling: Scaling) -> str:
    said: dict[str, object] = {"kind": scaling.kind.value}
    default = Scaling()
    for key in ("at", "length", "bit", "bits", "signed", "factor", "offset", "unit"):
        if getattr(scaling, key) != getattr(default, key):
            said[key] = getattr(scaling, key)
    if not scaling.big_endian:
        said["big-endian"] = False
    if scaling.kind is ScalingKind.CODED:
        words = ", ".join(_map(value=one.value, text=one.text) for one in scaling.texts)
        said["texts"] = _Plain(f"[{words}]")
    return _map(**said)


def _map(**items: object) -> str:
    shown = (f"{key}: {_value(value)}" for key, value in items.items() if value not in {"", None})
    return "{" + ", ".join(shown) + "}"


def _value(value: object) -> str:
    match value:
        case _Plain():
            return str(value)
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)
        case float():
            return f"{Decimal(repr(value)):f}"
        case _:
            return _quoted(str(value))


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "service"
