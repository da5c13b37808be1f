"""What a column of a recording means: the column map's values. Reading one from its file is ``map_file``."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec


@unique
class TimeForm(StrEnum):
    """How the time column writes time. ``MASTER``: every channel of an MDF file carries its own."""

    SECONDS = "seconds"
    MILLISECONDS = "milliseconds"
    CLOCK = "clock"
    DATE_TIME = "date-time"
    MASTER = "master"


@unique
class TimeResolution(StrEnum):
    """``WHOLE_SECOND``: equal seconds are one burst, and its time is uncertain up to the next second."""

    EXACT = "exact"
    WHOLE_SECOND = "whole-second"


@unique
class EngineOff(StrEnum):
    """Rows before the engine turns. ``ORDER_ONLY``: their time stands still, so they carry order only."""

    TIMED = "timed"
    ORDER_ONLY = "order-only"


@unique
class Cells(StrEnum):
    """``FRESH``: a filled cell is a reading. ``HELD``: cells repeat the last reading until they are read again."""

    FRESH = "fresh"
    HELD = "held"


class TimeColumn(msgspec.Struct, frozen=True):
    """The time column.

    Attributes:
        column: its header; empty for ``MASTER``.
        form: how time is written.
        resolution: exact or whole seconds.
        uncertainty_s: half-width by which every time may be off, s; None: what follows from the resolution.
        engine_off: how rows before the engine turns are read.
        line: in the map file.
    """

    column: str = ""
    form: TimeForm = TimeForm.SECONDS
    resolution: TimeResolution = TimeResolution.EXACT
    uncertainty_s: float | None = None
    engine_off: EngineOff = EngineOff.TIMED
    line: int = 0


class Column(msgspec.Struct, frozen=True):
    """One column of values.

    Attributes:
        column: its header as printed, without spaces around it.
        signal: id of the signal it is.
        unit: what its numbers are in.
        resolution, accuracy: in ``unit``; None: as the signal usually has.
        optional: a recording may lack it.
        line: in the map file.
    """

    column: str
    signal: str
    unit: str
    resolution: float | None = None
    accuracy: float | None = None
    optional: bool = False
    line: int = 0


class ColumnMap(msgspec.Struct, frozen=True):
    """How a kind of recording is read.

    Attributes:
        name: words for it.
        time: the time column.
        columns: those that are read.
        ignore: headers that are known and not read.
        cells: fresh or held.
        turn_rows: with held cells, rows in which every column is read once; 0: one burst of equal times.
        absent: texts of a cell that mean "no value", besides the empty one.
        delimiter, decimal, encoding: of a CSV file.
        source: file the map was read from.
    """

    name: str
    time: TimeColumn
    columns: tuple[Column, ...]
    ignore: tuple[str, ...] = ()
    cells: Cells = Cells.FRESH
    turn_rows: int = 0
    absent: tuple[str, ...] = ()
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8-sig"
    source: str = "column map"
