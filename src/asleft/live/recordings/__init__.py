"""Recordings of values: CSV, MDF4 and Parquet in by a column map, out for replays; a recording as live signals.

Example::

    recording = read_recording(Path("idle.csv"), load_map(Path("idle.map.yaml")))
    recording.signals["engine-speed"].values
"""

from __future__ import annotations

from pathlib import Path

from asleft.model.errors import Code, InputError

from .chunks import ChunkedRecording, Parts, read_parts
from .column_map import Cells, Column, ColumnMap, EngineOff, TimeColumn, TimeForm, TimeResolution
from .csv_in import header_of, read_csv
from .csv_out import MAP_SUFFIX, write_csv
from .guess import Proposal, guess_map
from .map_file import load_map, parse_map
from .mdf import read_mdf, write_mdf
from .parquet import read_parquet, write_parquet
from .recording import Gap, Recording
from .replay import ReplaySignals

#: Maps that come with the program.
MAPS = Path(__file__).parent / "maps"

_MDF = {".mf4", ".mdf", ".dat"}
_PARQUET = {".parquet", ".pq"}


def read_recording(path: Path, column_map: ColumnMap | None = None) -> Recording:
    """Read a CSV, MDF4 or Parquet recording.

    Args: column_map: None: the map beside the file, or the one of the program's own maps whose columns it has; our own
        Parquet files need none.
    Raises: InputError: recording-unreadable, column-map-bad (also when no map fits: it says what to write).
    """
    if path.suffix.lower() in _PARQUET:
        beside = path.with_name(path.name + MAP_SUFFIX)
        return read_parquet(path, column_map or (load_map(beside) if beside.exists() else None))
    chosen = column_map or find_map(path)
    return read_mdf(path, chosen) if path.suffix.lower() in _MDF else read_csv(path, chosen)


def find_map(path: Path) -> ColumnMap:
    """The map for a recording: ``NAME.csv.map.yaml`` beside it, or one of the program's own that fits its header.

    Raises: InputError: column-map-bad when none fits; the detail holds what was recognised.
    """
    beside = path.with_name(path.name + MAP_SUFFIX)
    if beside.exists():
        return load_map(beside)
    if path.suffix.lower() in _MDF:
        raise InputError(Code.COLUMN_MAP_BAD, f"write one beside it: {beside.name}", str(path))
    names, row = header_of(path)
    for candidate in (load_map(file) for file in sorted(MAPS.glob("*.yaml"))):
        wanted = {candidate.time.column, *(column.column for column in candidate.columns if not column.optional)}
        if wanted <= set(names):
            return candidate
    proposal = guess_map(names, row)
    found = ", ".join(f"{column.column} → {column.signal}" for column in proposal.column_map.columns)
    detail = f"no map fits; write {beside.name}; recognised by words: {found or 'nothing'}"
    raise InputError(Code.COLUMN_MAP_BAD, detail, str(path))


__all__ = [
    "MAPS",
    "Cells",
    "ChunkedRecording",
    "Column",
    "ColumnMap",
    "EngineOff",
    "Gap",
    "Parts",
    "Proposal",
    "Recording",
    "ReplaySignals",
    "TimeColumn",
    "TimeForm",
    "TimeResolution",
    "find_map",
    "guess_map",
    "load_map",
    "parse_map",
    "read_csv",
    "read_mdf",
    "read_parquet",
    "read_parts",
    "read_recording",
    "write_csv",
    "write_mdf",
    "write_parquet",
]
