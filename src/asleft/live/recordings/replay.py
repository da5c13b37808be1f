"""A recording as live signals: what was recorded, at the clock's pace, with its true age.

The job's clock and the recording's run together from the moment this is made::

    signals = ReplaySignals(recording, clock)
    (speed,) = await signals.read(["engine-speed"])     # the latest sample up to now; speed.age_s is its age
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence

import msgspec

from asleft.live.catalogue import NAMED
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Quality, Reading, Series, Signal
from asleft.ports.clock import Clock

from .recording import Recording


class ReplaySignals:
    """The Signals port over a recording."""

    def __init__(self, recording: Recording, clock: Clock, start_s: float | None = None) -> None:
        """Begin the replay now.

        Args: start_s: where in the recording, s on its clock; None: at its first sample.
        """
        self._recording = recording
        self._clock = clock
        self._shift_s = clock.now() - (recording.start_s if start_s is None else start_s)

    @property
    def origin(self) -> Origin:
        """Always replay."""
        return self._recording.origin

    @property
    def recording(self) -> Recording:
        """What is replayed."""
        return self._recording

    @property
    def remaining_s(self) -> float:
        """How much of the recording lies ahead, s; 0 at its end."""
        return max(0.0, self._recording.stop_s + self._shift_s - self._clock.now())

    def catalogue(self) -> tuple[Signal, ...]:
        """Signals that the recording holds, with the recording's resolution."""
        found = self._recording.signals
        return tuple(msgspec.structs.replace(NAMED[s], resolution=found[s].resolution) for s in found if len(found[s]))

    def key_on_readings(self) -> tuple[Reading, ...]:
        """The first values of the rows before the engine turned, taken as now: their own time is not known.

        The first, because the last ones may fall into cranking, when plates move and the supply dips.
        """
        found = self._recording.signals
        now = self._clock.now()
        return tuple(self._reading(found[s], values[0], now, now) for s, values in self._recording.key_on.items())

    async def read(self, signals: Sequence[str]) -> tuple[Reading, ...]:
        """The latest sample of each up to now, with its age; an absence where the recording has none."""
        return tuple(self._latest(signal) for signal in signals)

    async def record(
        self, signals: Sequence[str], seconds: float, on_reading: Callable[[Reading], None] | None = None
    ) -> tuple[Series, ...]:
        """The samples of the next ``seconds``, as they come due on the clock."""
        begin = self._clock.now()
        end = begin + seconds
        windows = [self._window(signal, begin, end) for signal in signals]
        due = sorted(
            (time, value, place)
            for place, w in enumerate(windows)
            for time, value in zip(w.times_s, w.values, strict=True)
        )
        for time, value, place in due if on_reading else ():
            await self._clock.sleep_until(time)
            if on_reading:
                on_reading(self._reading(windows[place], value, time, self._clock.now()))
        await self._clock.sleep_until(end)
        return tuple(windows)

    def _latest(self, signal: str) -> Reading:
        now = self._clock.now()
        series = self._recording.signals.get(signal)
        if series is None or not len(series):
            return self._absent(signal, AbsenceKind.UNSUPPORTED, "not in this recording")
        place = bisect_right(series.times_s, now - self._shift_s + 1e-9)
        if place == 0:
            return self._absent(signal, AbsenceKind.NOT_READ, "not yet in this recording")
        if self.remaining_s == 0.0 and now - self._shift_s > self._recording.stop_s:
            return self._absent(signal, AbsenceKind.NOT_READ, "the recording has ended")
        return self._reading(series, series.values[place - 1], series.times_s[place - 1] + self._shift_s, now)

    def _window(self, signal: str, begin: float, end: float) -> Series:
        series = self._recording.signals.get(signal)
        if series is None:
            known = NAMED.get(signal)
            return Series(signal, known.unit if known else "1", (), (), known.resolution if known else 0.0)
        first = bisect_right(series.times_s, begin - self._shift_s + 1e-9)
        stop = bisect_right(series.times_s, end - self._shift_s + 1e-9)
        times = tuple(time + self._shift_s for time in series.times_s[first:stop])
        return msgspec.structs.replace(series, times_s=times, values=series.values[first:stop], gaps=0)

    def _reading(self, series: Series, value: float, time_s: float, now_s: float) -> Reading:
        known = NAMED[series.signal]
        return Reading(
            signal=series.signal,
            value=value,
            unit=series.unit,
            u=math.hypot(series.resolution / math.sqrt(12.0), series.accuracy / math.sqrt(3.0)),
            time_s=time_s,
            origin=self.origin,
            age_s=max(0.0, now_s - time_s),
            quality=Quality.GOOD if known.low <= value <= known.high else Quality.OUT_OF_RANGE,
        )

    def _absent(self, signal: str, kind: AbsenceKind, why: str) -> Reading:
        unit = NAMED[signal].unit if signal in NAMED else "1"
        return Reading(signal, None, unit, 0.0, self._clock.now(), self.origin, absence=Absence(kind, why))
