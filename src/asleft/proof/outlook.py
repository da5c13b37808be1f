"""When a condition that is not met yet will be: "in about 6 min, between 5 and 8"."""

from __future__ import annotations

from collections import deque

from asleft.model.condition import Condition, ConditionKind
from asleft.model.errors import AsleftError
from asleft.model.message import Message
from asleft.model.reading import Quality, Reading, Series
from asleft.model.units import convert, unit

from .warmup import RECENT_S, Forecast, forecast

#: Readings closer together than this are not all kept, s.
_APART_S = 1.0


class Outlook:
    """Looks ahead for a condition on a rising temperature; silent for everything else.

    Args:
        condition: at least, or within while below its lower limit.
        resolution: step of the signal, in the condition's unit.
    """

    def __init__(self, condition: Condition, resolution: float = 1.0) -> None:
        self._condition = condition
        self._resolution = resolution
        self._kept: deque[tuple[float, float]] = deque()
        rising = condition.kind in {ConditionKind.AT_LEAST, ConditionKind.WITHIN} and condition.low is not None
        self._looks = rising and unit(condition.unit).quantity == "temperature"

    def update(self, reading: Reading) -> None:
        """Take a reading; one that is doubted, absent or out of order is not used."""
        if not self._looks or reading.value is None or reading.quality is not Quality.GOOD:
            return
        if self._kept and reading.time_s < self._kept[-1][0] + _APART_S:
            return
        try:
            self._kept.append((reading.time_s, convert(reading.value, reading.unit, self._condition.unit)))
        except AsleftError:
            return
        while reading.time_s - self._kept[0][0] > 1.5 * RECENT_S:
            self._kept.popleft()

    def forecast(self) -> Forecast | None:
        """From the last reading; None where nothing can be said."""
        if not self._looks or self._condition.low is None or len(self._kept) < 5:
            return None
        times, values = zip(*self._kept, strict=True)
        series = Series(self._condition.signal, self._condition.unit, times, values, self._resolution)
        found = forecast(series, self._condition.low)
        return found if isinstance(found, Forecast) else None

    def message(self) -> Message | None:
        """For a screen; None where nothing can be said or the limit is reached."""
        found = self.forecast()
        return None if found is None or found.likely_s == 0.0 else found.message
