"""Procedures from an ODX data base: services of one variant become reads, routines and writes, or are refused.

    found = read_odx(Path("engine.pdx"), "engine_variant_a")
    found.taken, found.refused
    odx_procedure(found, ["read_supply", "learn_start"], Frame(function="throttle-stop-learn", entered_by="M. Okafor"))

What comes out is a draft like any other: no entry conditions, no proof, nobody has checked it. Through odxtools.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, cast

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.step_more import Scaling

from .odx_parts import Beyond, scaling_of

MAX_BYTES, MAX_FILES = 200_000_000, 2_000
#: What this program does itself, by rules a data base does not know. Source: ISO 14229-1.
_OURS = {
    0x11: "a restart belongs",
    0x14: "the clear belongs",
    0x19: "trouble codes belong",
    0x27: "access belongs",
    0x28: "silencing modules belongs",
    0x3E: "keeping a session alive belongs",
    0x85: "code setting belongs",
}
_READ, _WRITE, _ROUTINE = 0x22, 0x2E, 0x31
_PARTS = {1: "start", 2: "stop", 3: "result"}


class Value(msgspec.Struct, frozen=True):
    """One value that a service reads or writes."""

    name: str
    scaling: Scaling


class Service(msgspec.Struct, frozen=True):
    """One service that our form holds.

    Attributes:
        kind: read, write, session, or a routine's start, stop or result.
        identifier: two bytes; of a session its number.
        values: read or written.
    """

    name: str
    kind: str
    identifier: int
    values: tuple[Value, ...] = ()

    @property
    def text(self) -> str:
        """One line."""
        values = ", ".join(f"{v.name} ({v.scaling.kind.value}, {v.scaling.unit})" for v in self.values)
        kind = f"routine {self.kind}" if self.kind in _PARTS.values() else self.kind
        number = f"{self.identifier:02X}" if self.kind == "session" else f"{self.identifier:04X}"
        return f"{self.name}: {kind} {number}{f': {values}' if values else ''}"


class Imported(msgspec.Struct, frozen=True):
    """What one variant holds: services taken, and lines on what is beyond our form."""

    file: str
    variant: str
    taken: tuple[Service, ...]
    refused: dict[str, str]


def variants_of(path: Path) -> tuple[str, ...]:
    """Names of the variants in a data base. Raises InputError: import-impossible."""
    return tuple(layer.short_name for layer in _variants(_database(path)))


def read_odx(path: Path, variant: str = "") -> Imported:
    """Services of a variant; without a name, of the only one.

    Raises: InputError: import-impossible, not readable, or no such variant.
    """
    layers = {layer.short_name: layer for layer in _variants(_database(path))}
    if not variant and len(layers) == 1:
        variant = next(iter(layers))
    if variant not in layers:
        raise InputError(Code.IMPORT_IMPOSSIBLE, f"choose a variant: {', '.join(layers) or 'it has none'}", str(path))
    taken: list[Service] = []
    refused: dict[str, str] = {}
    layer = layers[variant]
    for service in layer.services:
        try:
            taken.append(_service(service))
        except Beyond as beyond:
            refused[service.short_name] = str(beyond)
    for job in layer.single_ecu_jobs:
        refused[job.short_name] = "a job is a program; a book holds none"
    return Imported(path.name, variant, tuple(taken), refused)


def _service(service: Any) -> Service:
    if service.request is None:
        raise Beyond("no request")
    parameters = list(service.request.parameters)
    head = bytes(service.request.coded_const_prefix())
    if not head:
        raise Beyond("its first byte is not fixed")
    if (what := _OURS.get(head[0])) is not None:
        raise Beyond(f"service {head[0]:02X}: {what} to the program, not to a procedure's data")
    values = [p for p in parameters if p.parameter_type not in {"CODED-CONST", "PHYS-CONST", "RESERVED"}]
    match head[0]:
        case 0x10:
            if len(head) != 2 or values:
                raise Beyond("a session that is given more than its number")
            return Service(service.short_name, "session", head[1])
        case 0x22:
            return _read(service, _identifier(head, 1), values)
        case 0x2E:
            return _write(service, _identifier(head, 1), values)
        case 0x31:
            return _routine(service, head, values)
        case other:
            raise Beyond(f"service {other:02X} is none that a step sends")


def _identifier(head: bytes, at: int) -> int:
    if len(head) != at + 2:
        raise Beyond(f"its identifier has {len(head) - at} fixed byte(s); two are wanted")
    return int.from_bytes(head[at:], "big")


def _read(service: Any, identifier: int, values: Sequence[Any]) -> Service:
    if values:
        raise Beyond(f"a read that sends {', '.join(p.short_name for p in values)}")
    return Service(service.short_name, "read", identifier, tuple(_answered(service, identifier)))


def _answered(service: Any, identifier: int) -> Iterator[Value]:
    if len(service.positive_responses) != 1:
        raise Beyond(f"{len(service.positive_responses)} kinds of positive answers")
    parameters = list(service.positive_responses[0].parameters)
    skipped = 3
    for parameter in parameters:
        if parameter.parameter_type in {"CODED-CONST", "MATCHING-REQUEST-PARAM", "RESERVED"}:
            continue
        if parameter.parameter_type != "VALUE":
            raise Beyond(f"{parameter.short_name}: {parameter.parameter_type}")
        yield Value(parameter.short_name, scaling_of(parameter, skipped))
    head = bytes(service.positive_responses[0].coded_const_prefix(bytes((_READ,)) + identifier.to_bytes(2, "big")))
    if head[:3] != bytes((_READ + 0x40,)) + identifier.to_bytes(2, "big"):
        raise Beyond("its answer does not begin with the identifier")


def _write(service: Any, identifier: int, values: Sequence[Any]) -> Service:
    if len(values) != 1 or values[0].parameter_type != "VALUE":
        raise Beyond(f"a write of {len(values)} values; one is wanted")
    scaling = scaling_of(values[0], 3)
    if scaling.at or scaling.bits:
        raise Beyond(f"{values[0].short_name} is a part of what is written")
    return Service(service.short_name, "write", identifier, (Value(values[0].short_name, scaling),))


def _routine(service: Any, head: bytes, values: Sequence[Any]) -> Service:
    if values:
        raise Beyond(f"a routine that is given {', '.join(p.short_name for p in values)}")
    part = _PARTS.get(head[1]) if len(head) > 1 else None
    if part is None:
        raise Beyond("a routine without a fixed start, stop or result")
    return Service(service.short_name, part, _identifier(head, 2))


def _variants(database: Any) -> list[Any]:
    return [layer for layer in database.diag_layers if layer.variant_type.value in {"ECU-VARIANT", "BASE-VARIANT"}]


def _database(path: Path) -> Any:
    try:
        import odxtools  # noqa: PLC0415 - an extra, and slow to import
    except ImportError:
        raise InputError(Code.IMPORT_IMPOSSIBLE, "odxtools is not installed (the extra data)", str(path)) from None
    _not_too_much(path)
    try:
        return cast("Any", odxtools).load_file(path)
    except Exception as error:  # noqa: BLE001 - a data base can be wrong in any way its library does not foresee
        raise InputError(Code.IMPORT_IMPOSSIBLE, f"not readable as ODX ({error})", str(path)) from None


def _not_too_much(path: Path) -> None:
    """A packed data base must not unpack without end. Raises InputError: import-impossible."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(Code.IMPORT_IMPOSSIBLE, f"more than {MAX_BYTES} bytes", str(path))
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as packed:
                members = packed.infolist()
            if len(members) > MAX_FILES or sum(m.file_size for m in members) > MAX_BYTES:
                raise InputError(Code.IMPORT_IMPOSSIBLE, "it unpacks to too much", str(path))
    except OSError as error:
        raise InputError(Code.IMPORT_IMPOSSIBLE, error.strerror or "not readable", str(path)) from None
    except zipfile.BadZipFile:
        raise InputError(Code.IMPORT_IMPOSSIBLE, "not readable as a packed data base", str(path)) from None
