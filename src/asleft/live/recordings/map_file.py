"""Reading a column map from YAML; every complaint says ``file:line: column: why, and what to write instead``.

Example::

    name: one petrol car, run time in whole seconds
    time: {column: "ENGINE_RUN_TIME ()", resolution: whole-second, engine_off: order-only}
    cells: held
    columns:
      "ENGINE_RPM ()": {signal: engine-speed, unit: rpm}
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from asleft.live.catalogue import NAMED
from asleft.model.errors import Code, InputError
from asleft.model.units import UNITS

from .column_map import Cells, Column, ColumnMap, EngineOff, TimeColumn, TimeForm, TimeResolution
from .yaml_lines import Entry, NotYamlError, entries

E = TypeVar("E", bound=StrEnum)

_MAP = ("name", "time", "columns", "ignore", "cells", "turn_rows", "absent", "delimiter", "decimal", "encoding")
_TIME = ("column", "form", "resolution", "uncertainty_s", "engine_off")
_COLUMN = ("signal", "unit", "resolution", "accuracy", "optional")


def load_map(path: Path) -> ColumnMap:
    """The column map in a file. Raises InputError (column-map-bad)."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(Code.COLUMN_MAP_BAD, f"the map cannot be read: {error}", str(path)) from error
    return parse_map(text, str(path))


def parse_map(text: str, name: str = "column map") -> ColumnMap:
    """The column map in a text. Raises InputError (column-map-bad) with file, line and column."""
    try:
        root = entries(text)
    except NotYamlError as error:
        raise InputError(Code.COLUMN_MAP_BAD, f"not YAML: {error.why}", f"{name}:{error.line}") from error
    return _Reader(name).whole(root)


class _Fields:
    """The fields of one mapping, each asked for by name and form."""

    def __init__(self, reader: _Reader, entry: Entry, what: str, known: tuple[str, ...]) -> None:
        self._reader = reader
        self.line = entry.line
        self.what = what
        if not isinstance(entry.value, dict):
            raise reader.bad(entry.line, what, "is not a map of fields", f"write {{{', '.join(known)}}}")
        self.entries = entry.value
        for name, line in entry.keys.items():
            if known and name not in known:
                instead = f"write one of {', '.join(known)}{_like(name, known)}"
                raise reader.bad(line, what, f"{name!r} is not known", instead)

    def entry(self, name: str) -> Entry:
        if name not in self.entries:
            raise self._reader.bad(self.line, self.what, f"{name!r} is missing", f"add `{name}:`")
        return self.entries[name]

    def text(self, name: str, default: str | None = None) -> str:
        if name not in self.entries and default is not None:
            return default
        entry = self.entry(name)
        if not isinstance(entry.value, str):
            raise self._reader.bad(entry.line, self.what, f"{name!r} is not one text", f"write `{name}: text`")
        return entry.value

    def number(self, name: str) -> float | None:
        if name not in self.entries:
            return None
        text = self.text(name)
        try:
            value = float(text)
        except ValueError:
            value = -1.0
        if not 0 <= value < 1e12:
            raise self._reader.bad(
                self.entry(name).line, self.what, f"{name!r} is {text!r}", "write a number, 0 or more"
            )
        return value

    def choice(self, name: str, kind: type[E], default: E) -> E:
        text = self.text(name, default.value)
        try:
            return kind(text)
        except ValueError:
            names = [member.value for member in kind]
            instead = f"write one of {', '.join(names)}{_like(text, names)}"
            raise self._reader.bad(self.entry(name).line, self.what, f"{name!r} is {text!r}", instead) from None

    def texts(self, name: str) -> tuple[str, ...]:
        if name not in self.entries:
            return ()
        entry = self.entry(name)
        parts = entry.value if isinstance(entry.value, list) else [entry]
        texts = [part.value.strip() for part in parts if isinstance(part.value, str)]
        if len(texts) != len(parts):
            raise self._reader.bad(
                entry.line, self.what, f"{name!r} is not a list", "write one text a line, with a dash"
            )
        return tuple(texts)


class _Reader:
    def __init__(self, name: str) -> None:
        self._name = name

    def bad(self, line: int, what: str, why: str, instead: str) -> InputError:
        return InputError(Code.COLUMN_MAP_BAD, f"{what}: {why}; {instead}", f"{self._name}:{line}")

    def whole(self, root: Entry) -> ColumnMap:
        fields = _Fields(self, root, "map", _MAP)
        columns = _Fields(self, fields.entry("columns"), "columns", ())
        read = tuple(self._column(header, entry) for header, entry in columns.entries.items())
        self._once(read)
        decimal, delimiter = fields.text("decimal", "."), fields.text("delimiter", ",")
        if decimal not in {".", ","} or len(delimiter) != 1 or delimiter == decimal:
            raise self.bad(fields.line, "map", "delimiter and decimal do not go together", "write for example ; and ,")
        turn = fields.number("turn_rows") or 0.0
        return ColumnMap(
            name=fields.text("name", Path(self._name).stem),
            time=self._time(fields),
            columns=read,
            ignore=fields.texts("ignore"),
            cells=fields.choice("cells", Cells, Cells.FRESH),
            turn_rows=int(turn),
            absent=fields.texts("absent"),
            delimiter=delimiter,
            decimal=decimal,
            encoding=self._encoding(fields),
            source=self._name,
        )

    def _time(self, fields: _Fields) -> TimeColumn:
        time = _Fields(self, fields.entry("time"), "time", _TIME)
        form = time.choice("form", TimeForm, TimeForm.SECONDS)
        return TimeColumn(
            column=time.text("column", "" if form is TimeForm.MASTER else None).strip(),
            form=form,
            resolution=time.choice("resolution", TimeResolution, TimeResolution.EXACT),
            uncertainty_s=time.number("uncertainty_s"),
            engine_off=time.choice("engine_off", EngineOff, EngineOff.TIMED),
            line=time.line,
        )

    def _column(self, header: str, entry: Entry) -> Column:
        fields = _Fields(self, entry, header, _COLUMN)
        signal, unit = fields.text("signal"), fields.text("unit")
        if signal not in NAMED:
            raise self.bad(fields.line, header, f"there is no signal {signal!r}", _offer("signal", signal, NAMED))
        if unit not in UNITS:
            raise self.bad(fields.line, header, f"there is no unit {unit!r}", _offer("unit", unit, UNITS))
        here, usual = UNITS[unit].quantity, UNITS[NAMED[signal].unit].quantity
        if here != usual:
            instead = f"write for example {NAMED[signal].unit}"
            raise self.bad(fields.line, header, f"{unit} measures {here}, {signal} is {usual}", instead)
        optional = fields.text("optional", "false")
        if optional not in {"true", "false"}:
            raise self.bad(fields.line, header, f"'optional' is {optional!r}", "write true or false")
        resolution, accuracy = fields.number("resolution"), fields.number("accuracy")
        return Column(header, signal, unit, resolution, accuracy, optional == "true", fields.line)

    def _once(self, columns: tuple[Column, ...]) -> None:
        seen: dict[str, str] = {}
        for column in columns:
            if column.signal in seen:
                why = f"{column.signal} is read from {seen[column.signal]!r} already"
                raise self.bad(column.line, column.column, why, "leave one of the two, ignore the other")
            seen[column.signal] = column.column

    def _encoding(self, fields: _Fields) -> str:
        encoding = fields.text("encoding", "utf-8-sig")
        try:
            return "utf-8-sig" if encoding.lower() in {"utf-8", "utf8"} else _known(encoding)
        except LookupError:
            raise self.bad(fields.line, "encoding", f"{encoding!r} is not known", "write utf-8 or latin-1") from None


def _known(encoding: str) -> str:
    "".encode(encoding)
    return encoding


def _like(text: str, names: Iterable[str]) -> str:
    near = difflib.get_close_matches(text, list(names), 1)
    return f"; did you mean {near[0]!r}?" if near else ""


def _offer(what: str, text: str, names: Iterable[str]) -> str:
    return f"write the {what} as the docs list it{_like(text, names)}"
