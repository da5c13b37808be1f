"""Writing series as a CSV recording with the column map that reads it back exactly."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.reading import Series

TIME = "time [s]"

#: What stands behind a recording's name when its own map lies beside it.
MAP_SUFFIX = ".map.yaml"


def write_csv(path: Path, signals: Mapping[str, Series], name: str = "") -> Path:
    """Write series, one row a moment, and beside it the map; numbers come back as the same numbers.

    Returns: path of the map.
    Raises: InputError: recording-unreadable when the files cannot be written.
    """
    headers = {signal: f"{signal} [{series.unit}]" for signal, series in signals.items()}
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([TIME, *headers.values()])
    for time, row in _rows(signals):
        writer.writerow([repr(time), *(repr(row[signal]) if signal in row else "" for signal in headers)])
    map_path = path.with_name(path.name + MAP_SUFFIX)
    try:
        path.write_text(buffer.getvalue(), "utf-8")
        map_path.write_bytes(_map_text(signals, headers, name or path.stem))
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(path)) from error
    return map_path


def _rows(signals: Mapping[str, Series]) -> list[tuple[float, dict[str, float]]]:
    """Rows in time order; a signal that has several values at one time takes several rows."""
    at: dict[tuple[float, int], dict[str, float]] = {}
    for signal, series in signals.items():
        before: float | None = None
        repeat = 0
        for time, value in zip(series.times_s, series.values, strict=True):
            repeat = repeat + 1 if time == before else 0
            before = time
            at.setdefault((time, repeat), {})[signal] = value
    return [(time, at[time, repeat]) for time, repeat in sorted(at)]


def _map_text(signals: Mapping[str, Series], headers: Mapping[str, str], name: str) -> bytes:
    columns = {
        headers[s]: {"signal": s, "unit": x.unit, "resolution": x.resolution, "accuracy": x.accuracy}
        for s, x in signals.items()
    }
    uncertainty = max((series.u_time_s for series in signals.values()), default=0.0)
    time = {"column": TIME, "form": "seconds", "uncertainty_s": uncertainty}
    # JSON is YAML: what the map reader reads needs no second writer.
    return msgspec.json.format(msgspec.json.encode({"name": name, "time": time, "columns": columns}), indent=1)
