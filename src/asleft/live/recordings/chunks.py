"""A recording written in parts that are each whole, so that a crash costs the part in hand and no more.

Every part is a complete small file of the format chosen (CSV, MDF4, Parquet), written beside, forced to the disk and
then given its name. What is left after a crash reads as far as it goes; a clean end makes one file of the parts::

    kept = ChunkedRecording(Path("idle.parts"), "parquet")
    signals.subscribe(kept.add)
    kept.close(Path("idle.parquet"))
    read_parts(Path("idle.parts")).signals      # after a crash instead
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import msgspec

from asleft.live.catalogue import CATALOGUE
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.message import Message, say
from asleft.model.reading import Reading, Series, Signal

from .csv_in import read_csv
from .csv_out import MAP_SUFFIX, write_csv
from .map_file import load_map
from .mdf import own_map, read_mdf, write_mdf
from .parquet import read_parquet, write_parquet

Kind = Literal["csv", "mf4", "parquet"]

#: How much of a recording a crash may cost, s.
CHUNK_S = 5.0
_SIGNALS = "signals.json"


class Parts(msgspec.Struct, frozen=True):
    """What could be read. ``parts``: how many. ``notes``: parts that could not be, and why."""

    signals: dict[str, Series]
    parts: int
    notes: tuple[Message, ...] = ()


class ChunkedRecording:
    """A recording being written.

    Args:
        folder: for the parts; made when it is not there. One that holds parts already is refused.
        kind: format of the parts.
        signals: resolution and accuracy of signals that are not in the catalogue.
        chunk_s: length of a part on the readings' clock, s.
    Raises: InputError: recording-unreadable.
    """

    def __init__(
        self,
        folder: Path,
        kind: Kind = "parquet",
        signals: Mapping[str, Signal] | None = None,
        chunk_s: float = CHUNK_S,
    ) -> None:
        self._folder, self._chunk_s = folder, chunk_s
        self._kind: Kind = kind
        self._signals = {**CATALOGUE, **(signals or {})}
        self._number, self._begun_s = 0, 0.0
        self._units: dict[str, str] = {}
        self._now: dict[str, list[tuple[float, float]]] = {}
        self._gaps: dict[str, int] = {}
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(folder)) from error
        if _parts(folder):
            raise InputError(Code.RECORDING_UNREADABLE, "parts of another recording are in it", str(folder))

    def add(self, reading: Reading) -> None:
        """Take a reading; one without a value counts as a gap."""
        if reading.value is None:
            self._gaps[reading.signal] = self._gaps.get(reading.signal, 0) + 1
            return
        if not self._now:
            self._begun_s = reading.time_s
        self._units[reading.signal] = reading.unit
        self._now.setdefault(reading.signal, []).append((reading.time_s, reading.value))
        if reading.time_s - self._begun_s >= self._chunk_s:
            self.flush()

    def flush(self) -> None:
        """Write the part in hand; after this it survives a crash. Raises: InputError."""
        if not self._now:
            return
        self._number += 1
        series = {name: self._series(name, points) for name, points in self._now.items()}
        target = self._folder / f"part-{self._number:05d}.{self._kind}"
        beside = self._folder / f"writing.{self._kind}"
        _write(self._kind, beside, series)
        if self._kind == "csv":
            _rename(beside.with_name(beside.name + MAP_SUFFIX), target.with_name(target.name + MAP_SUFFIX))
        if self._kind == "mf4":
            _note_signals(self._folder, series)
        _rename(beside, target)
        self._now, self._gaps = {}, {}

    def close(self, path: Path) -> Parts:
        """Write what is left and make one file of all parts; the parts stay until it is written. Raises: InputError."""
        self.flush()
        whole = read_parts(self._folder)
        _write(self._kind, path, whole.signals)
        for part in self._folder.iterdir():
            part.unlink()
        self._folder.rmdir()
        return whole

    def _series(self, name: str, points: list[tuple[float, float]]) -> Series:
        times, values = zip(*points, strict=True)
        signal = self._signals.get(name)
        resolution, accuracy = (signal.resolution, signal.accuracy) if signal else (0.0, 0.0)
        return Series(name, self._units[name], times, values, resolution, accuracy, gaps=self._gaps.get(name, 0))


def read_parts(folder: Path) -> Parts:
    """What the parts in a folder hold, one after the other; a part that cannot be read is named and left out.

    Raises: InputError: recording-unreadable when there is no part.
    """
    found = _parts(folder)
    if not found:
        raise InputError(Code.RECORDING_UNREADABLE, "there is no part of a recording in it", str(folder))
    signals: dict[str, Series] = {}
    notes: list[Message] = []
    for part in found:
        try:
            read = _read(part)
        except AsleftError as error:
            notes.append(say("recording.part-bad", "{part} could not be read: {why}", part=part.name, why=error.detail))
            continue
        for name, series in read.items():
            signals[name] = _joined(signals[name], series) if name in signals else series
    return Parts(signals, len(found) - len(notes), tuple(notes))


def _joined(first: Series, second: Series) -> Series:
    return msgspec.structs.replace(
        first,
        times_s=first.times_s + second.times_s,
        values=first.values + second.values,
        gaps=first.gaps + second.gaps,
    )


def _parts(folder: Path) -> list[Path]:
    return sorted(p for p in folder.glob("part-*") if p.suffix in {".csv", ".mf4", ".parquet"})


def _write(kind: Kind, path: Path, signals: Mapping[str, Series]) -> None:
    if kind == "csv":
        write_csv(path, signals)
    elif kind == "mf4":
        write_mdf(path, signals)
    else:
        write_parquet(path, signals)


def _read(part: Path) -> dict[str, Series]:
    if part.suffix == ".parquet":
        return read_parquet(part).signals
    if part.suffix == ".csv":
        return read_csv(part, load_map(part.with_name(part.name + MAP_SUFFIX))).signals
    try:
        about = msgspec.json.decode((part.parent / _SIGNALS).read_bytes(), type=dict[str, Series])
    except (OSError, msgspec.MsgspecError) as error:
        raise InputError(Code.RECORDING_UNREADABLE, f"{_SIGNALS} beside it: {error}", part.name) from error
    return read_mdf(part, own_map(about)).signals


def _note_signals(folder: Path, series: Mapping[str, Series]) -> None:
    """What the signals of MDF4 parts are: those files carry names and units only."""
    path = folder / _SIGNALS
    known = msgspec.json.decode(path.read_bytes(), type=dict[str, Series]) if path.exists() else {}
    empty = {n: msgspec.structs.replace(s, times_s=(), values=(), gaps=0) for n, s in series.items()}
    beside = folder / "writing.json"
    beside.write_bytes(msgspec.json.encode({**empty, **known}))
    _rename(beside, path)


def _rename(source: Path, target: Path) -> None:
    """Give a file its name once its bytes are on the disk. Raises: InputError."""
    try:
        with source.open("rb+") as file:
            os.fsync(file.fileno())
        source.replace(target)
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, str(error.strerror), str(target)) from error
