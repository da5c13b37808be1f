"""Reading a CSV recording by its column map; every complaint says file, line, column, why and what to do."""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
import math
from collections.abc import Iterator
from pathlib import Path

from asleft.model.errors import Code, InputError
from asleft.model.message import Message

from .assemble import Table, assemble
from .column_map import Column, ColumnMap, TimeForm
from .recording import Recording
from .times import after_midnight, seconds_of


def read_csv(path: Path, column_map: ColumnMap) -> Recording:
    """Read a CSV recording.

    Raises: InputError: recording-unreadable (file, line, column), column-map-bad when map and header do not fit.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(path)) from error
    try:
        text = content.decode(column_map.encoding)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        detail = f"not {column_map.encoding}; write `encoding: latin-1` in the map if it is that"
        raise InputError(Code.RECORDING_UNREADABLE, detail, f"{path.name}:{line}") from error
    return assemble(_Csv(path.name, column_map, text, hashlib.sha256(content).hexdigest()).table(), column_map)


class _Csv:
    """One reading of one file."""

    def __init__(self, name: str, column_map: ColumnMap, text: str, digest: str) -> None:
        self._name = name
        self._map = column_map
        self._digest = digest
        self._rows = self._numbered(text)
        self._notes: list[Message] = []
        self._times: list[float] = []
        self._wall = ""

    def table(self) -> Table:
        line, header = next(self._rows, (1, [""]))
        names = [name.strip() for name in header]
        while names and not names[-1]:
            names.pop()
        if not names:
            raise self._bad(line, "header", "there is none", "the first line names the columns")
        self._check_names(names, line)
        places = {column.signal: names.index(column.column) for column in self._map.columns if column.column in names}
        columns = {column.signal: column for column in self._map.columns if column.signal in places}
        cells: dict[str, list[float | None]] = {signal: [] for signal in places}
        for line, row in self._whole_rows(len(names)):
            self._take_time(line, row[names.index(self._map.time.column)])
            for signal, place in places.items():
                cells[signal].append(self._value(line, columns[signal], row[place]))
        self._note_unread(names)
        return Table(self._name, self._digest, self._times, cells, columns, self._wall, tuple(self._notes))

    def _numbered(self, text: str) -> Iterator[tuple[int, list[str]]]:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=self._map.delimiter)
        while True:
            try:
                row = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                raise self._bad(reader.line_num, "row", str(error), "see the place with a text editor") from error
            if any(cell.strip() for cell in row):
                yield reader.line_num, row

    def _whole_rows(self, width: int) -> Iterator[tuple[int, list[str]]]:
        """Rows of the header's width: a trailing comma is forgiven, a cut last row left out and noted."""
        held = next(self._rows, None)
        while held is not None:
            line, row = held
            held = next(self._rows, None)
            while len(row) > width and not row[-1].strip():
                row.pop()
            if len(row) < width and held is None:
                text = "The last row, line {line}, is cut off and left out."
                self._notes.append(Message("recording.cut-row", text, {"line": str(line)}))
                return
            if len(row) != width:
                why = f"{len(row)} cells where the header has {width}"
                raise self._bad(line, "row", why, "mend the row, or the map's `delimiter` and `decimal`")
            yield line, row

    def _check_names(self, names: list[str], line: int) -> None:
        double = next((name for name in names if name and names.count(name) > 1), None)
        if double is not None:
            raise self._bad(line, double, "two columns have this name", "give one of them another")
        wanted = [(self._map.time.column, self._map.time.line)]
        wanted += [(column.column, column.line) for column in self._map.columns if not column.optional]
        for name, map_line in wanted:
            if name not in names:
                near = difflib.get_close_matches(name, names, 1)
                instead = f"write {near[0]!r}?" if near else f"it has {', '.join(names[:40])}"
                detail = f"{name}: {self._name} has no such column; {instead}"
                raise InputError(Code.COLUMN_MAP_BAD, detail, f"{self._map.source}:{map_line}")

    def _take_time(self, line: int, cell: str) -> None:
        time, text = self._map.time, self._dotted(cell)
        try:
            seconds = seconds_of(text, time.form)
        except ValueError as error:
            why = f"{cell.strip()!r} is no time: {error}"
            raise self._bad(line, time.column, why, f"the map says `form: {time.form.value}`") from None
        if self._times:
            seconds = after_midnight(seconds, self._times[-1], time.form)
            if seconds < self._times[-1]:
                why = f"time goes back by {self._times[-1] - seconds:g} s"
                raise self._bad(line, time.column, why, "split the file there: two recordings")
        elif time.form in (TimeForm.CLOCK, TimeForm.DATE_TIME):
            self._wall = text
        self._times.append(seconds)

    def _value(self, line: int, column: Column, cell: str) -> float | None:
        text = cell.strip()
        if not text or text in self._map.absent:
            return None
        try:
            value = float(self._dotted(text))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            instead = "leave it empty, or list the text under `absent` in the map"
            raise self._bad(line, column.column, f"{text[:40]!r} is no number", instead)
        return value

    def _dotted(self, cell: str) -> str:
        return cell.strip().replace(",", ".") if self._map.decimal == "," else cell.strip()

    def _note_unread(self, names: list[str]) -> None:
        known = {self._map.time.column, *self._map.ignore, *(column.column for column in self._map.columns)}
        unread = [name for name in names if name not in known]
        if unread:
            text = "Columns without a place in the map, not read: {names}."
            self._notes.append(Message("recording.unread", text, {"names": ", ".join(unread)}))

    def _bad(self, line: int, what: str, why: str, instead: str) -> InputError:
        return InputError(Code.RECORDING_UNREADABLE, f"{what}: {why}; {instead}", f"{self._name}:{line}")


def header_of(path: Path, delimiter: str = ",") -> tuple[list[str], list[str]]:
    """The header and the first row of a CSV file, cells without spaces around them.

    Raises: InputError: recording-unreadable.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.reader(file, delimiter=delimiter)
            first, second = next(rows, [""]), next(rows, [""])
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error), str(path)) from error
    return [cell.strip() for cell in first], [cell.strip() for cell in second]
