"""What a proof away from a job is computed from: recordings by name, values typed with their gauge, a link for a while.

A file of typed values::

    gauges:
      - {name: digital level 3, unit: "°", resolution: 0.1, accuracy: 0.1, due: "2027-03"}
    values:
      - {signal: floor-slope-along, gauge: digital level 3, value: 0.3}
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated

import msgspec

from asleft.book.fields import Slug, Text
from asleft.book.files import read_struct
from asleft.book.signal_units import SIGNAL_UNITS
from asleft.live.recordings import ChunkedRecording, load_map, read_recording
from asleft.live.recordings.chunks import Kind
from asleft.live.typed import Gauge, typed_series
from asleft.model.errors import Code, InputError
from asleft.model.reading import Reading, Series, Signal
from asleft.model.units import UNITS

#: Recordings by the name that criteria know them by; the one without a name stands for all that have none.
Named = Mapping[str, tuple[Series, ...]]


class GaugeLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An instrument in somebody's hand: see ``live.typed.Gauge``."""

    name: Text
    unit: Text
    resolution: float
    accuracy: float
    due: str = ""


class TypedLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One value read off a gauge. ``time_s``: on the recording's clock. ``recording``: the one it belongs to."""

    signal: Slug
    gauge: Text
    value: float
    time_s: float = 0.0
    recording: str = ""


class TypedFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A file of typed values."""

    gauges: Annotated[tuple[GaugeLine, ...], msgspec.Meta(min_length=1)]
    values: Annotated[tuple[TypedLine, ...], msgspec.Meta(min_length=1)]


def named_recordings(texts: Sequence[str], column_map: Path | None = None) -> dict[str, tuple[Series, ...]]:
    """Read ``FILE`` or ``NAME=FILE`` each.

    Raises: InputError: recording-unreadable, column-map-bad; asked-wrongly: a name stands twice.
    """
    chosen = load_map(column_map) if column_map else None
    found: dict[str, tuple[Series, ...]] = {}
    for text in texts:
        name, sign, file = text.partition("=")
        name, path = (name, file) if sign and not Path(text).exists() else ("", text)
        if name in found:
            detail = f"two recordings are called {name!r}" if name else "two recordings have no name: write NAME=FILE"
            raise InputError(Code.ASKED_WRONGLY, detail)
        found[name] = tuple(read_recording(Path(path), chosen).signals.values())
    return found


def typed_values(path: Path) -> dict[str, tuple[Series, ...]]:
    """Typed values as series, by the recording they belong to.

    Raises: InputError: procedure-bad (the form), gauge-bad, unit-mismatch, recording-unreadable.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(Code.RECORDING_UNREADABLE, error.strerror or "not readable", str(path)) from error
    file = read_struct(data, path.name, TypedFile).value
    gauges = {g.name: _gauge(g, path.name) for g in file.gauges}
    series: dict[tuple[str, str, str], list[TypedLine]] = {}
    for line in file.values:
        _fits(line, gauges, path.name)
        series.setdefault((line.recording, line.signal, line.gauge), []).append(line)
    found: dict[str, tuple[Series, ...]] = {}
    for (recording, signal, gauge), lines in series.items():
        values, times = tuple(one.value for one in lines), tuple(one.time_s for one in lines)
        found[recording] = (*found.get(recording, ()), typed_series(gauges[gauge], signal, values, times))
    return found


def together(first: Named, second: Named) -> dict[str, tuple[Series, ...]]:
    """Both, recording by recording."""
    return {name: (*first.get(name, ()), *second.get(name, ())) for name in dict.fromkeys((*first, *second))}


def keeping(path: Path, signals: Sequence[Signal]) -> tuple[Callable[[Reading], None], Callable[[], None]]:
    """A recording that a crash costs at most some seconds of: what takes a reading, and what ends it.

    Args: path: its end, ``.csv``, ``.mf4`` or ``.parquet``; the parts lie beside it until it is written.
    Raises: InputError (recording-unreadable): another end, or it is there already.
    """
    kinds: dict[str, Kind] = {".csv": "csv", ".mf4": "mf4", ".parquet": "parquet"}
    kind = kinds.get(path.suffix)
    if kind is None or path.exists():
        detail = "it is there already" if path.exists() else f"call it {', '.join(kinds)}"
        raise InputError(Code.RECORDING_UNREADABLE, detail, str(path))
    kept = ChunkedRecording(path.with_name(path.name + ".parts"), kind, {s.id: s for s in signals})

    def end() -> None:
        kept.close(path)

    return kept.add, end


def _gauge(line: GaugeLine, file: str) -> Gauge:
    if line.unit not in UNITS:
        raise InputError(Code.UNIT_UNKNOWN, f"{line.name}: {line.unit}", file)
    return Gauge(line.name, line.unit, line.resolution, line.accuracy, due=line.due)


def _fits(line: TypedLine, gauges: Mapping[str, Gauge], file: str) -> None:
    gauge = gauges.get(line.gauge)
    if gauge is None:
        raise InputError(Code.GAUGE_BAD, f"{line.gauge!r} is none of {', '.join(gauges)}", file)
    unit = SIGNAL_UNITS.get(line.signal)
    if unit is None:
        raise InputError(Code.RECORDING_UNREADABLE, f"there is no signal {line.signal!r}", file)
    if UNITS[unit].quantity != UNITS[gauge.unit].quantity:
        raise InputError(Code.UNIT_MISMATCH, f"{line.gauge} shows {gauge.unit}; {line.signal} is in {unit}", file)
