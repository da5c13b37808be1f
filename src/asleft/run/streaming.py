"""Samples written down while a recording runs, so that a crash, a stop or a broken interlock does not lose them.

A recording that ends in the ordinary way is kept whole by ``samples-taken``, which names the same chunks; one that is
cut leaves its parts, the last one up to the cut.
"""

from __future__ import annotations

from collections.abc import Sequence

from asleft.event.body import SamplesPart
from asleft.model.reading import Reading, Series

from .log import RunLog

#: How much of a recording a crash may cost at most, s of the job's clock.
PART_S = 10.0


class PartsLog:
    """The parts of one recording.

    Args: log: of the run. name: of the recording. signals: those that are kept. Empty name: nothing is written.
    """

    def __init__(self, log: RunLog, name: str, signals: Sequence[str]) -> None:
        self._log = log
        self._name = name
        self._begun_s = log.ports.clock.now()
        self._part = 0
        self._new: dict[str, list[Reading]] = {signal: [] for signal in signals}
        self._about = {signal.id: signal for signal in log.ports.signals.catalogue()}

    def heard(self, reading: Reading) -> None:
        """Take a reading; write a part when enough time has gone by. Raises RecordError (journal-unwritable)."""
        if reading.value is None or reading.signal not in self._new:
            return
        self._new[reading.signal].append(reading)
        if reading.time_s - self._begun_s >= PART_S:
            self.write()

    def write(self) -> None:
        """Write what is new; nothing when nothing is."""
        series = tuple(self._series(name, readings) for name, readings in self._new.items() if readings)
        self._begun_s = self._log.ports.clock.now()
        if not series or not self._name:
            return
        self._part += 1
        for readings in self._new.values():
            readings.clear()
        self._log.write(SamplesPart(self._log.run, self._name, self._part, series))

    def _series(self, name: str, readings: Sequence[Reading]) -> Series:
        about = self._about.get(name)
        times = tuple(reading.time_s for reading in readings)
        values = tuple(reading.value for reading in readings if reading.value is not None)
        resolution, accuracy = (about.resolution, about.accuracy) if about else (0.0, 0.0)
        return Series(name, readings[0].unit, times, values, resolution, accuracy)
