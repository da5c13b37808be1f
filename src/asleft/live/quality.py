"""What is known against readings that only several of them together, or something else, can show.

Out of range and frozen are seen reading by reading (``readings``). Here: out of date at the moment of use, too far
apart in time to be held against each other, and a sensor or module whose own trouble code says not to believe it.
Nothing is dropped: a reading carries what is known against it, and conditions and proofs refuse it by that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from asleft.model.reading import Quality, Reading
from asleft.model.trouble import CodeKind, TroubleCode

#: A live value older than this is out of date, s. Common practice, no source (TRADE 5.11).
STALE_S = 2.0
#: Readings further apart than this are not one moment, s: parameters of one request are 0.05 to 0.2 s apart.
SKEW_S = 0.5

#: Beginning of a trouble code -> signals that it says not to believe. Source: SAE J2012 ranges (recalled).
SENSOR_CODES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("P010", ("mass-air-flow", "manifold-pressure")),
    ("P0110", ("intake-air-temperature",)),
    ("P0111", ("intake-air-temperature",)),
    ("P0112", ("intake-air-temperature",)),
    ("P0113", ("intake-air-temperature",)),
    ("P0114", ("intake-air-temperature",)),
    ("P0115", ("coolant-temperature",)),
    ("P0116", ("coolant-temperature",)),
    ("P0117", ("coolant-temperature",)),
    ("P0118", ("coolant-temperature",)),
    ("P0119", ("coolant-temperature",)),
    ("P012", ("throttle-absolute", "throttle-absolute-b", "accelerator-pedal-d", "accelerator-pedal-e")),
    ("P0128", ()),
    ("P0195", ("engine-oil-temperature",)),
    ("P022", ("throttle-absolute-b", "accelerator-pedal-d", "accelerator-pedal-e")),
    ("P0335", ("engine-speed",)),
    ("P0336", ("engine-speed",)),
    ("P046", ("fuel-level",)),
    ("P050", ("vehicle-speed",)),
    ("P056", ("control-module-voltage",)),
    ("P0070", ("ambient-temperature",)),
    ("P0071", ("ambient-temperature",)),
    ("P0072", ("ambient-temperature",)),
    ("P0073", ("ambient-temperature",)),
    ("P2135", ("throttle-absolute", "throttle-absolute-b")),
    ("P2138", ("accelerator-pedal-d", "accelerator-pedal-e")),
    ("P2226", ("barometric-pressure",)),
    ("P2227", ("barometric-pressure",)),
    ("P2228", ("barometric-pressure",)),
    ("P2229", ("barometric-pressure",)),
)


def signals_in_fault(codes: Iterable[TroubleCode]) -> dict[str, str]:
    """Signals that stored or pending codes say not to believe, each with the first code that does."""
    doubted: dict[str, str] = {}
    for code in codes:
        if code.kind is CodeKind.PERMANENT:
            continue  # what was, not what is
        longest = max((begin for begin, _ in SENSOR_CODES if code.code.startswith(begin)), key=len, default="")
        for begin, signals in SENSOR_CODES:
            if begin == longest:
                for signal in signals:
                    doubted.setdefault(signal, code.code)
    return doubted


def with_faults(reading: Reading, doubted: Iterable[str]) -> Reading:
    """The reading marked *suspect* when its sensor or module says that it is in fault."""
    if reading.absence is not None or reading.quality is not Quality.GOOD or reading.signal not in set(doubted):
        return reading
    return msgspec.structs.replace(reading, quality=Quality.SUSPECT)


def at_use(reading: Reading, now_s: float, *, stale_s: float = STALE_S) -> Reading:
    """The reading with its age at the moment of use, marked *stale* when that is too long."""
    age_s = reading.age_s + max(0.0, now_s - reading.time_s)
    aged = msgspec.structs.replace(reading, age_s=age_s)
    if aged.absence is not None or aged.quality is not Quality.GOOD or age_s <= stale_s:
        return aged
    return msgspec.structs.replace(aged, quality=Quality.STALE)


def skew_s(readings: Sequence[Reading]) -> float:
    """Time between the oldest and the newest of readings that are to be held against each other, s."""
    times = [r.time_s - r.age_s for r in readings if r.absence is None]
    return max(times) - min(times) if times else 0.0


def one_moment(readings: Sequence[Reading], *, most_s: float = SKEW_S) -> tuple[Reading, ...]:
    """The readings as of the newest of them: each with its age then, and *stale* when it is further away than allowed.

    For what compares two signals: with more skew between them a movement looks like a disagreement.
    """
    times = [r.time_s for r in readings if r.absence is None]
    newest_s = max(times, default=0.0)
    return tuple(at_use(r, newest_s, stale_s=most_s) for r in readings)


class RateMeter:
    """How often each signal really came, over its last readings. Args: last: readings counted, at least 2."""

    def __init__(self, last: int = 20) -> None:
        self._last = max(2, last)
        self._times: dict[str, list[float]] = {}

    def add(self, reading: Reading) -> None:
        """Take a reading; one without a value does not count."""
        if reading.value is None:
            return
        times = self._times.setdefault(reading.signal, [])
        times.append(reading.time_s)
        if len(times) > self._last:
            del times[0]

    def hz(self, signal: str) -> float | None:
        """True rate, 1/s; None until two readings came at different times."""
        times = self._times.get(signal, [])
        span_s = times[-1] - times[0] if len(times) > 1 else 0.0
        return (len(times) - 1) / span_s if span_s > 0.0 else None
