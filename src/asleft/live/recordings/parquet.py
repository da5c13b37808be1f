"""Parquet recordings, in and out, through pyarrow (the extra ``parquet``), imported only when one is read or written.

Our own files are long tables: one row a reading (``signal``, ``time_s``, ``value``), and in the file's metadata, under
``asleft``, unit, resolution, accuracy, uncertainty of times and gaps of every signal: what comes back is the same
series. Other people's files are wide tables, read by a column map as CSV files are.

Source: Apache Parquet format, as the library implements it.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.reading import Series

from .assemble import Table, assemble, gaps_in
from .column_map import ColumnMap, TimeForm
from .recording import Recording

_OWN = b"asleft"


class _About(msgspec.Struct, frozen=True):
    """What stands of a signal in the file's metadata."""

    unit: str
    resolution: float
    accuracy: float
    u_time_s: float
    gaps: int


_ABOUT = msgspec.json.Decoder(dict[str, _About])


def write_parquet(path: Path, signals: Mapping[str, Series]) -> None:
    """Write series; they come back as the same series.

    Raises: InputError: recording-unreadable when the file cannot be written or the extra is not installed.
    """
    arrow, parquet = _library()
    names = [signal for signal, series in signals.items() for _ in series.times_s]
    table = arrow.table(
        {
            "signal": arrow.array(names, arrow.string()).dictionary_encode(),
            "time_s": arrow.array([t for s in signals.values() for t in s.times_s], arrow.float64()),
            "value": arrow.array([v for s in signals.values() for v in s.values], arrow.float64()),
        }
    )
    about = {k: _About(s.unit, s.resolution, s.accuracy, s.u_time_s, s.gaps) for k, s in signals.items()}
    table = table.replace_schema_metadata({_OWN: msgspec.json.encode(about)})
    try:
        parquet.write_table(table, path)
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror or error), str(path)) from error


def read_parquet(path: Path, column_map: ColumnMap | None = None) -> Recording:
    """Read our own file, or another one by its column map.

    Raises: InputError: recording-unreadable; column-map-bad when it is not ours and no map says what it holds.
    """
    arrow, parquet = _library()
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        table = parquet.read_table(path)
    except (OSError, arrow.ArrowException) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else f"not a Parquet file: {error}"
        raise InputError(Code.RECORDING_UNREADABLE, str(why), str(path)) from error
    metadata = cast("dict[bytes, bytes]", table.schema.metadata or {})
    if column_map is None and _OWN in metadata:
        return _own(table, metadata[_OWN], path.name, digest)
    if column_map is None:
        detail = f"write a map beside it: {path.name}.map.yaml; its columns are {', '.join(table.column_names)[:400]}"
        raise InputError(Code.COLUMN_MAP_BAD, detail, str(path))
    return _by_map(table, column_map, path.name, digest)


def _own(table: Any, metadata: bytes, name: str, digest: str) -> Recording:
    try:
        about = _ABOUT.decode(metadata)
        rows = list(zip(*(table.column(c).to_pylist() for c in ("signal", "time_s", "value")), strict=True))
        times: dict[str, list[float]] = {signal: [] for signal in about}
        values: dict[str, list[float]] = {signal: [] for signal in about}
        for signal, time_s, value in rows:
            times[signal].append(float(time_s))
            values[signal].append(float(value))
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError) as error:
        raise InputError(Code.RECORDING_UNREADABLE, f"its table is not as we write it: {error}", name) from error
    signals = {
        s: Series(s, a.unit, tuple(times[s]), tuple(values[s]), a.resolution, a.accuracy, a.u_time_s, a.gaps)
        for s, a in about.items()
    }
    every = sorted({t for series in signals.values() for t in series.times_s})
    return Recording(name, "Parquet by asleft", digest, signals, gaps=gaps_in(every))


def _by_map(table: Any, column_map: ColumnMap, name: str, digest: str) -> Recording:
    if column_map.time.form is not TimeForm.SECONDS:
        detail = "time: the time column of a Parquet file is a number of seconds; write `form: seconds`"
        raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column_map.time.line}")
    names = cast("list[str]", table.column_names)
    wanted = [column_map.time.column, *(c.column for c in column_map.columns if not c.optional)]
    missing = [column for column in wanted if column not in names]
    if missing:
        detail = f"{name} has no column {', '.join(missing)}; it has {', '.join(names)[:400]}"
        raise InputError(Code.COLUMN_MAP_BAD, detail, column_map.source)
    times = [_number(cell, column_map.time.column, name) for cell in table.column(column_map.time.column).to_pylist()]
    seconds = [t for t in times if t is not None]
    if len(seconds) < len(times) or any(b < a for a, b in pairwise(seconds)):
        raise InputError(Code.RECORDING_UNREADABLE, "its time column has empty cells or goes back", name)
    columns = {c.signal: c for c in column_map.columns if c.column in names}
    cells = {
        signal: [_number(cell, c.column, name) for cell in table.column(c.column).to_pylist()]
        for signal, c in columns.items()
    }
    return assemble(Table(name, digest, seconds, cells, columns), column_map)


def _number(cell: object, column: str, name: str) -> float | None:
    if cell is None or (isinstance(cell, float) and math.isnan(cell)):
        return None
    if isinstance(cell, bool | int | float) and math.isfinite(cell):
        return float(cell)
    detail = f"{column}: {cell!r} is no number; leave the column out of the map"
    raise InputError(Code.RECORDING_UNREADABLE, detail, name)


def _library() -> tuple[Any, Any]:
    """The library, late: it takes long to import and is an extra."""
    try:
        import pyarrow  # noqa: PLC0415
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError as error:
        detail = "reading Parquet needs the extra: pip install 'asleft[parquet]'"
        raise InputError(Code.RECORDING_UNREADABLE, detail) from error
    return cast("Any", pyarrow), cast("Any", pyarrow.parquet)
