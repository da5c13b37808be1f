"""MDF4 recordings, in and out, through asammdf (the extra ``mdf``), which is imported only when one is read or written.

Source: ASAM MDF 4.1, as the library implements it.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import numpy as np

from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.reading import Series
from asleft.model.units import UNITS

from .assemble import gaps_in, outside, series_of
from .column_map import Cells, Column, ColumnMap, TimeColumn, TimeForm
from .recording import Recording


def read_mdf(path: Path, column_map: ColumnMap) -> Recording:
    """Read an MDF4 recording; every channel carries its own time.

    Raises: InputError: recording-unreadable, column-map-bad.
    """
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(path)) from error
    with _opened(path) as file:
        return _read(file, path.name, digest, column_map)


def write_mdf(path: Path, signals: Mapping[str, Series]) -> ColumnMap:
    """Write series as channels named by their signals.

    Returns: the map that reads them back.
    Raises: InputError: recording-unreadable when the file cannot be written or the extra is not installed.
    """
    asammdf = _library()
    with asammdf.MDF(version="4.10") as file:
        for signal, series in signals.items():
            if len(series):
                channel = asammdf.Signal(
                    samples=np.array(series.values), timestamps=np.array(series.times_s), unit=series.unit, name=signal
                )
                file.append([channel], comment="asleft")
        try:
            file.save(path, overwrite=True)
        except OSError as error:
            raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(path)) from error
    return own_map(signals)


def own_map(signals: Mapping[str, Series]) -> ColumnMap:
    """The map of a file that ``write_mdf`` made of these series."""
    columns = tuple(
        Column(signal, signal, series.unit, series.resolution, series.accuracy, optional=True)
        for signal, series in signals.items()
    )
    uncertainty = max((series.u_time_s for series in signals.values()), default=0.0)
    return ColumnMap("MDF4 by asleft", TimeColumn(form=TimeForm.MASTER, uncertainty_s=uncertainty), columns)


def _library() -> Any:
    """The library, late: it takes long to import and is an extra."""
    try:
        import asammdf  # noqa: PLC0415
    except ImportError as error:
        detail = "reading MDF4 needs the extra: pip install 'asleft[mdf]'"
        raise InputError(Code.RECORDING_UNREADABLE, detail) from error
    return cast("Any", asammdf)


def _opened(path: Path) -> Any:
    library = _library()
    try:
        return library.MDF(path)
    except Exception as error:  # the library raises its own and whatever parsing strangers' bytes brings
        raise InputError(Code.RECORDING_UNREADABLE, f"not an MDF4 file: {error}", path.name) from error


def _read(file: Any, name: str, digest: str, column_map: ColumnMap) -> Recording:
    if column_map.time.form is not TimeForm.MASTER:
        detail = "time: an MDF4 file carries time with every channel; write `form: master`"
        raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column_map.time.line}")
    if column_map.cells is not Cells.FRESH:
        detail = "cells: every sample of an MDF4 file stands by itself; leave `cells` out"
        raise InputError(Code.COLUMN_MAP_BAD, detail, column_map.source)
    names = {str(known): places for known, places in file.channels_db.items()}
    signals: dict[str, Series] = {}
    notes: list[Message] = []
    for column in column_map.columns:
        places = names.get(column.column, ())
        if not places and column.optional:
            continue
        if len(places) != 1:
            why = "no such channel" if not places else f"{len(places)} channels have this name"
            detail = f"{column.column}: {name} has {why}; it has {', '.join(sorted(names))[:400]}"
            raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column.line}")
        signals[column.signal] = _series(file.get(column.column), column, column_map, name)
        notes += outside(signals[column.signal])
    times = sorted({time for series in signals.values() for time in series.times_s})
    return Recording(name, column_map.name, digest, signals, gaps=gaps_in(times), notes=tuple(notes))


def _series(channel: Any, column: Column, column_map: ColumnMap, name: str) -> Series:
    unit = str(channel.unit)
    if unit in UNITS and unit != column.unit:
        detail = f"{column.column}: the file says {unit}, the map {column.unit}; write unit: {unit}"
        raise InputError(Code.COLUMN_MAP_BAD, detail, f"{column_map.source}:{column.line}")
    if channel.samples.dtype.kind not in "iufb":
        detail = f"{column.column}: its samples are no numbers; leave the channel out of the map"
        raise InputError(Code.RECORDING_UNREADABLE, detail, name)
    times = [float(time) for time in channel.timestamps]
    values = [float(value) for value in channel.samples]
    pairs = [(time, value) for time, value in zip(times, values, strict=True) if math.isfinite(value)]
    if any(b[0] < a[0] for a, b in pairwise(pairs)):
        raise InputError(Code.RECORDING_UNREADABLE, f"{column.column}: time goes back", name)
    uncertainty = column_map.time.uncertainty_s or 0.0
    return series_of(column, [time for time, _ in pairs], [value for _, value in pairs], uncertainty)
