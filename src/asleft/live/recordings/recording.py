"""A recording as read: series by signal, on the recording's own clock, with what is known against it."""

from __future__ import annotations

import msgspec

from asleft.model.message import Message
from asleft.model.origin import ClockKind, Origin
from asleft.model.reading import Series


class Gap(msgspec.Struct, frozen=True):
    """A time without rows, s on the recording's clock."""

    start_s: float
    stop_s: float


class Recording(msgspec.Struct, frozen=True):
    """Values that were recorded elsewhere.

    Attributes:
        name: of its file.
        map_name: of the column map it was read with.
        digest: SHA-256 of the file, hexadecimal.
        signals: series by signal id; times in s as written, or from the first row for clock and date.
        key_on: values by signal of the rows before the engine turned, whose times are not known: order only.
        key_on_rows: how many such rows.
        gaps: times without rows.
        notes: what the reader should know.
        start_wall: wall time of the first row as written there; empty when only seconds stand there.
        origin: always replay.
        clock: always the recording's.
    """

    name: str
    map_name: str
    digest: str
    signals: dict[str, Series]
    key_on: dict[str, tuple[float, ...]] = {}
    key_on_rows: int = 0
    gaps: tuple[Gap, ...] = ()
    notes: tuple[Message, ...] = ()
    start_wall: str = ""
    origin: Origin = Origin.REPLAY
    clock: ClockKind = ClockKind.RECORDING

    def __post_init__(self) -> None:
        if self.origin is not Origin.REPLAY or self.clock is not ClockKind.RECORDING:
            raise ValueError("a recording is a replay on the recording's clock")

    @property
    def start_s(self) -> float:
        """Time of the first sample, s; 0 without samples."""
        return min((series.times_s[0] for series in self.signals.values() if series.times_s), default=0.0)

    @property
    def stop_s(self) -> float:
        """Time of the last sample, s; 0 without samples."""
        return max((series.times_s[-1] for series in self.signals.values() if series.times_s), default=0.0)
