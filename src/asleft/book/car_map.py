"""A car map: where one kind of car's modules listen, and what carries which signal. The workshop's own notes as data.

Standard OBD needs no map. A procedure that names a module, a learned value in the three pictures, a signal that only a
module's own identifier or a broadcast carries: these need one, written from the workshop's licensed manual::

    id: aldra-1-6
    title: Aldra 1.6 petrol
    applies: {make: Aldra, model: "1.6", years: [2012, 2022]}
    source: our own manual, pages 4 and 5
    modules:
      - name: engine
        request: "7E0"
        response: "7E8"
        learned:
          - {key: learned-lower-stop, identifier: "4C21", start: 2, length: 2, scale: 0.01, unit: "%"}
        signals:
          - {signal: throttle-absolute, identifier: "4C25", length: 2, scale: 0.024420, accuracy: 0.5}
    broadcasts:
      description: aldra.dbc
      signals:
        - {signal: steering-angle, frame: Chassis, name: SteeringAngle, accuracy: 0.5}

A map tells nothing about entry conditions, limits or steps: those are the procedures'.
"""

from __future__ import annotations

from pathlib import Path as FilePath

import msgspec

from asleft.live.broadcasts import BroadcastSignal
from asleft.live.mapped import MappedSignal
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress
from asleft.talk.modules import Form, MappedItem, MappedModule, ModuleMap

from .car_map_check import faults_of, identifier, signal_of
from .car_map_form import BroadcastLine, CarMapFile, ItemLine, ModuleLine, SignalLine
from .files import ProcedureError, read_struct
from .procedure import Applies
from .remark import Complaint, Lines

_PLAIN = frozenset({"make", "model", "years"})


class CarMap(msgspec.Struct, frozen=True):
    """A map to work with.

    Attributes:
        description: DBC file; None when nothing is broadcast. heard: signals in it.
        sha256: of the file's bytes, for the record.
    """

    id: str
    title: str
    applies: Applies
    modules: ModuleMap
    mapped: tuple[MappedSignal, ...] = ()
    heard: tuple[BroadcastSignal, ...] = ()
    description: FilePath | None = None
    sha256: str = ""


def read_car_map(data: bytes, name: str, folder: FilePath) -> CarMap:
    """A map from the bytes of a file called ``name``.

    Args: folder: where its description lies.
    Raises: ProcedureError: every error with file, line, field, why, what instead.
    """
    read = read_struct(data, name, CarMapFile)
    faults = list(faults_of(read.value, folder))
    faults += _applies(read.value.applies)
    if faults:
        raise _error(read.lines, faults)
    return _made(read.value, folder, _sha256(data))


def load_car_map(path: FilePath) -> CarMap:
    """Read one file. Raises: ProcedureError; InputError: procedure-missing."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(Code.PROCEDURE_MISSING, error.strerror or "not readable", str(path)) from error
    return read_car_map(data, path.name, path.parent)


def _applies(applies: Applies) -> list[Complaint]:
    """A map is chosen when the order is written: only what stands there can choose it."""
    found: list[Complaint] = []
    if not applies.make:
        found.append(Complaint(("applies",), "car-map", "no make", "make: as orders give it"))
    usual = Applies()
    for field in Applies.__struct_fields__:
        if field not in _PLAIN and getattr(applies, field) != getattr(usual, field):
            why = f'"{field}" is not known when a map is chosen'
            found.append(Complaint(("applies", field), "car-map", why, "make, model, years"))
    return found


def _error(lines: Lines, faults: list[Complaint]) -> ProcedureError:
    return ProcedureError(tuple(sorted((lines.remark(c) for c in faults), key=lambda r: r.line)))


def _sha256(data: bytes) -> str:
    import hashlib  # noqa: PLC0415 - late: the command line prints help without it

    return hashlib.sha256(data).hexdigest()


def _made(file: CarMapFile, folder: FilePath, sha256: str) -> CarMap:
    modules: list[MappedModule] = []
    mapped: list[MappedSignal] = []
    for line in file.modules:
        at = address_of(line)
        coding, learned = (tuple(_item(i, file.source) for i in items) for items in (line.coding, line.learned))
        modules.append(MappedModule(at, coding, learned))
        mapped += [_mapped(at, one, file.source) for one in line.signals]
    told = file.broadcasts
    return CarMap(
        file.id,
        file.title,
        file.applies,
        ModuleMap(tuple(modules), file.wide_obd),
        tuple(mapped),
        tuple(_heard(one) for one in told.signals) if told else (),
        folder / told.description if told else None,
        sha256,
    )


def address_of(line: ModuleLine) -> ModuleAddress:
    """Where a checked line's module listens."""
    if line.address:
        target = int(line.address, 16)
        return ModuleAddress(line.name, target, target)
    ends = (msgspec.UNSET if not text else int(text, 16) for text in (line.request_byte, line.response_byte))
    return ModuleAddress(line.name, int(line.request, 16), int(line.response, 16), line.wide, *ends)


def _item(line: ItemLine, source: str) -> MappedItem:
    return MappedItem(
        line.key,
        line.name or line.key.replace("-", " "),
        identifier(line.identifier, line.printed),
        line.form,
        line.start,
        line.length,
        line.signed,
        line.scale,
        line.offset,
        line.unit,
        line.source or source,
    )


def _mapped(at: ModuleAddress, line: SignalLine, source: str) -> MappedSignal:
    signal = signal_of(line.signal, line.low, line.high, abs(line.scale), line.accuracy)
    number = identifier(line.identifier, line.printed)
    item = MappedItem(
        signal.id,
        signal.name,
        number,
        Form.NUMBER,
        line.start,
        line.length,
        line.signed,
        line.scale,
        line.offset,
        signal.unit,
        line.source or source,
    )
    return MappedSignal(signal, at, item)


def _heard(line: BroadcastLine) -> BroadcastSignal:
    unit = signal_of(line.signal).unit
    return BroadcastSignal(line.signal, line.name, unit, line.frame, line.accuracy, line.description_unit)
