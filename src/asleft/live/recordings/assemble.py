"""From a table of cells to series: key-on rows, bursts, held cells, units, gaps. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise
from statistics import median
from typing import NamedTuple

from asleft.live.catalogue import NAMED
from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.reading import Series
from asleft.model.units import convert, convert_difference

from .column_map import Cells, Column, ColumnMap, EngineOff, TimeForm, TimeResolution
from .recording import Gap, Recording

#: A pause is a gap when it is this many times as long as usual, and longer than this, s (common practice, no source).
GAP_TIMES = 5.0
GAP_S = 1.0

ENGINE_SPEED = "engine-speed"


class Table(NamedTuple):
    """Rows as read.

    Attributes:
        name, digest: of the file.
        times_s: one for every row, not decreasing.
        cells: by signal id, one for every row, None where empty; in the column's unit.
        columns: by signal id.
        start_wall: wall time of the first row as written; empty when none.
        notes: of the reader.
    """

    name: str
    digest: str
    times_s: Sequence[float]
    cells: dict[str, list[float | None]]
    columns: dict[str, Column]
    start_wall: str = ""
    notes: tuple[Message, ...] = ()


def assemble(table: Table, column_map: ColumnMap) -> Recording:
    """A recording from its rows.

    Raises: InputError: column-map-bad when the map's way of time does not fit; recording-unreadable without rows.
    """
    off = _key_on_rows(table, column_map)
    if not table.times_s:
        raise InputError(Code.RECORDING_UNREADABLE, "there is no row of values", table.name)
    zero = table.times_s[0] if column_map.time.form in (TimeForm.CLOCK, TimeForm.DATE_TIME) else 0.0
    times = [time - zero for time in table.times_s[off:]]
    u_time_s = _time_uncertainty(times, column_map, table.name)
    turns = _turns(times, column_map)
    signals: dict[str, Series] = {}
    notes = list(table.notes)
    for signal, cells in table.cells.items():
        rows = _fresh_rows(cells[off:], turns, column_map.cells)
        values = [cells[off + row] for row in rows]
        column = table.columns[signal]
        series = series_of(column, [times[row] for row in rows], [v for v in values if v is not None], u_time_s)
        signals[signal] = series
        notes += outside(series)
    key_on = {
        s: _converted(table.columns[s], [c for c in cells[:off] if c is not None]) for s, cells in table.cells.items()
    }
    return Recording(
        name=table.name,
        map_name=column_map.name,
        digest=table.digest,
        signals=signals,
        key_on={s: v for s, v in key_on.items() if v},
        key_on_rows=off,
        gaps=gaps_in(times),
        notes=(*notes, *_about_time(off, u_time_s)),
        start_wall=table.start_wall,
    )


def series_of(column: Column, times_s: Sequence[float], values: Sequence[float], u_time_s: float = 0.0) -> Series:
    """A series of the column's signal, in the signal's own unit."""
    signal = NAMED[column.signal]
    resolution = signal.resolution
    if column.resolution is not None:
        resolution = convert_difference(column.resolution, column.unit, signal.unit)
    accuracy = signal.accuracy
    if column.accuracy is not None:
        accuracy = convert_difference(column.accuracy, column.unit, signal.unit)
    return Series(
        signal=signal.id,
        unit=signal.unit,
        times_s=tuple(times_s),
        values=_converted(column, values),
        resolution=resolution,
        accuracy=accuracy,
        u_time_s=u_time_s,
        gaps=_missing(times_s),
    )


def gaps_in(times_s: Sequence[float]) -> tuple[Gap, ...]:
    """Pauses between rows that are much longer than usual."""
    apart = [(a, b) for a, b in pairwise(times_s) if b > a]
    if not apart:
        return ()
    limit = max(GAP_S, GAP_TIMES * median(b - a for a, b in apart))
    return tuple(Gap(a, b) for a, b in apart if b - a > limit)


def _missing(times_s: Sequence[float]) -> int:
    steps = [b - a for a, b in pairwise(times_s) if b > a]
    if not steps:
        return 0
    usual = median(steps)
    return sum(round(step / usual) - 1 for step in steps if step > max(GAP_S, GAP_TIMES * usual))


def _converted(column: Column, values: Sequence[float]) -> tuple[float, ...]:
    target = NAMED[column.signal].unit
    return tuple(convert(value, column.unit, target) for value in values)


def _key_on_rows(table: Table, column_map: ColumnMap) -> int:
    """How many rows stand before the engine turns, when their time stands still."""
    if column_map.time.engine_off is not EngineOff.ORDER_ONLY:
        return 0
    if ENGINE_SPEED not in table.cells:
        detail = f"time: 'engine_off' needs a column for {ENGINE_SPEED}; map one, or write engine_off: timed"
        raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column_map.time.line}")
    count = 0
    for time, speed in zip(table.times_s, table.cells[ENGINE_SPEED], strict=True):
        if time != table.times_s[0] or speed is None or speed != 0.0:
            break
        count += 1
    return count


def _time_uncertainty(times: Sequence[float], column_map: ColumnMap, name: str) -> float:
    """Half-width of every time, s: whole seconds reach up to the next second, or to the next time that was asked."""
    if column_map.time.uncertainty_s is not None:
        return column_map.time.uncertainty_s
    if column_map.time.resolution is not TimeResolution.WHOLE_SECOND:
        return _turn_time(times, column_map)
    if any(time != int(time) for time in times):
        detail = f"time: {name} has fractions of a second; write resolution: exact"
        raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column_map.time.line}")
    steps = [b - a for a, b in pairwise(times) if b > a]
    return max(1.0, median(steps)) if steps else 1.0


def _turn_time(times: Sequence[float], column_map: ColumnMap) -> float:
    """How long a turn of held cells takes, s: a reading that came out the same may have come anywhere in it."""
    rows = column_map.turn_rows
    if column_map.cells is not Cells.HELD or rows < 2 or len(times) < rows:
        return 0.0
    return median(b - a for a, b in zip(times, times[rows - 1 :], strict=False))


def _turns(times: Sequence[float], column_map: ColumnMap) -> list[range]:
    """Rows in which every column was read about once."""
    if column_map.turn_rows:
        return [range(i, min(i + column_map.turn_rows, len(times))) for i in range(0, len(times), column_map.turn_rows)]
    turns: list[range] = []
    for _, group in groupby(range(len(times)), key=lambda row: times[row]):
        rows = list(group)
        turns.append(range(rows[0], rows[-1] + 1))
    return turns


def _fresh_rows(cells: Sequence[float | None], turns: Sequence[range], kind: Cells) -> list[int]:
    """Rows that hold a reading of their own, not a repetition.

    With held cells a change is a reading; a turn without one is one reading that came out the same.
    """
    if kind is Cells.FRESH:
        return [row for row, cell in enumerate(cells) if cell is not None]
    rows: list[int] = []
    before: float | None = None
    for turn in turns:
        filled = [row for row in turn if cells[row] is not None]
        changed: list[int] = []
        for row in filled:
            if cells[row] != before:
                changed.append(row)
                before = cells[row]
        rows += changed or filled[-1:]
    return rows


def outside(series: Series) -> list[Message]:
    """A note when values are not what the signal can be."""
    signal = NAMED[series.signal]
    count = sum(not signal.low <= value <= signal.high for value in series.values)
    if not count:
        return []
    text = "{count} values of {name} lie outside {low} to {high} {unit}: they cannot be."
    values = {
        "count": str(count),
        "name": signal.name,
        "unit": signal.unit,
        "low": f"{signal.low:g}",
        "high": f"{signal.high:g}",
    }
    return [Message("recording.outside", text, values)]


def _about_time(key_on: int, u_time_s: float) -> list[Message]:
    notes: list[Message] = []
    if key_on:
        text = "{rows} rows stand before the engine turns: key on, engine off. They carry order only."
        notes.append(Message("recording.key-on", text, {"rows": str(key_on)}))
    if u_time_s:
        text = "Times are uncertain by up to {u} s: rows with one time are one burst."
        notes.append(Message("recording.time", text, {"u": f"{u_time_s:g}"}))
    return notes
