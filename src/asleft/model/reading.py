"""Signals and readings: a named quantity, and one value of it with all that makes it believable."""

from __future__ import annotations

import math
from enum import StrEnum, unique
from typing import Annotated

import msgspec

from .origin import Origin

#: Bytes as upper-case hexadecimal text: what a stranger reads in a record; or that they are withheld there.
Hex = Annotated[str, msgspec.Meta(pattern=r"^(([0-9A-F]{2})*|personal:[0-9a-f]{64})$")]


def to_hex(data: bytes) -> str:
    """Bytes as record text."""
    return data.hex().upper()


@unique
class Evidence(StrEnum):
    """How something is known: four different things, always visible."""

    MEASURED = "measured"
    OBSERVED = "observed"
    DECLARED = "declared"
    DOCUMENT = "document"


@unique
class Quality(StrEnum):
    """What is known against a reading."""

    GOOD = "good"
    STALE = "stale"
    FROZEN = "frozen"
    OUT_OF_RANGE = "out-of-range"
    SUSPECT = "suspect"


@unique
class AbsenceKind(StrEnum):
    """Why there is no value: three different things."""

    UNSUPPORTED = "unsupported"
    NOT_READ = "not-read"
    REFUSED = "refused"


class Absence(msgspec.Struct, frozen=True):
    """A missing value with its reason. ``refusal`` is the negative response code when refused."""

    kind: AbsenceKind
    detail: str = ""
    refusal: int | None = None


class Signal(msgspec.Struct, frozen=True):
    """A named live quantity, whatever it is read from.

    Attributes:
        id: slug such as ``coolant-temperature``; the same for every source.
        name: words for a screen.
        unit: unit of its readings.
        low, high: what can physically be; outside is quality *out of range*.
        resolution: smallest step of the usual source, in ``unit``.
        accuracy: half-width within which the true value lies by the sensor's own error, in ``unit``.
    """

    id: str
    name: str
    unit: str
    low: float
    high: float
    resolution: float
    accuracy: float = 0.0

    @property
    def u_resolution(self) -> float:
        """Standard uncertainty of rounding, q/√12. Source: JCGM 100:2008, 4.3.7."""
        return self.resolution / math.sqrt(12.0)


class Reading(msgspec.Struct, frozen=True):
    """One value of a signal, or its absence.

    Attributes:
        signal: id of the signal.
        value: in ``unit``; None exactly when ``absence`` is given.
        unit: symbol from ``model.units``.
        u: standard uncertainty in ``unit`` (sampling excluded, one value).
        time_s: when it was received, on the job's clock, s.
        age_s: how old it was when used, s.
        quality: what is known against it.
        evidence: how it is known.
        origin: where it comes from.
        raw: the answer bytes it was taken from.
        absence: why there is no value.
    """

    signal: str
    value: float | None
    unit: str
    u: float
    time_s: float
    origin: Origin
    age_s: float = 0.0
    quality: Quality = Quality.GOOD
    evidence: Evidence = Evidence.MEASURED
    raw: Hex = ""
    absence: Absence | None = None

    def __post_init__(self) -> None:
        if (self.value is None) == (self.absence is None):
            raise ValueError("a reading has either a value or an absence")
        if self.value is not None and not math.isfinite(self.value):
            raise ValueError("a reading's value is finite; anything else is an absence")
        if self.u < 0 or self.age_s < 0:
            raise ValueError("uncertainty and age are not negative")


class Series(msgspec.Struct, frozen=True):
    """Readings of one signal over time, as raw as they came.

    Attributes:
        signal: id of the signal.
        unit: of ``values``.
        times_s: on the job's clock, s, not decreasing, length n.
        values: length n.
        resolution: step of the source, in ``unit``.
        accuracy: half-width of the sensor's own error, in ``unit``.
        u_time_s: half-width by which every time may be off, s (a recording with whole seconds has up to 1).
        gaps: how many expected samples did not come.
    """

    signal: str
    unit: str
    times_s: tuple[float, ...]
    values: tuple[float, ...]
    resolution: float
    accuracy: float = 0.0
    u_time_s: float = 0.0
    gaps: int = 0

    def __post_init__(self) -> None:
        if len(self.times_s) != len(self.values):
            raise ValueError("as many times as values")

    def __len__(self) -> int:
        return len(self.values)
