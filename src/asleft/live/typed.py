"""Values that a person reads off a gauge and types in: always with the gauge named and what it can tell.

A voltmeter, a level, a pressure gauge or a thermometer is a signal as good as any other, as long as its step and its
error stand beside the value::

    gauge = Gauge("digital level 3", "°", resolution=0.1, accuracy=0.1, due="2027-03")
    series = typed_series(gauge, "floor-slope", (0.3,), (clock.now(),))
"""

from __future__ import annotations

import math

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Evidence, Quality, Reading, Series


class Gauge(msgspec.Struct, frozen=True):
    """An instrument in somebody's hand.

    Attributes:
        name: as it is called in the workshop, with its number.
        unit: of its display.
        resolution: its step; of a pointer, what can be read between two marks.
        accuracy: half-width of its error, by its papers.
        low, high: ends of its range; None: open.
        due: when its next comparison with a standard is due; empty: nobody knows, and the reading is doubted.
    """

    name: str
    unit: str
    resolution: float
    accuracy: float
    low: float | None = None
    high: float | None = None
    due: str = ""

    def __post_init__(self) -> None:
        numbers = (self.resolution, self.accuracy)
        if not self.name.strip() or not all(map(math.isfinite, numbers)) or self.resolution <= 0 or self.accuracy < 0:
            raise InputError(Code.GAUGE_BAD, "a gauge has a name, a step above nought and an error of its own")

    @property
    def u(self) -> float:
        """Standard uncertainty of one reading: q/√12 and a/√3. Source: JCGM 100:2008, 4.3.7."""
        return math.hypot(self.resolution / math.sqrt(12.0), self.accuracy / math.sqrt(3.0))


def typed_reading(gauge: Gauge, signal: str, value: float, time_s: float, origin: Origin) -> Reading:
    """One typed value as a reading: observed by a person, out of range or suspect as the gauge says.

    Raises: InputError: it is not a number.
    """
    _finite(gauge, value)
    quality = Quality.GOOD if gauge.due else Quality.SUSPECT
    if (gauge.low is not None and value < gauge.low) or (gauge.high is not None and value > gauge.high):
        quality = Quality.OUT_OF_RANGE
    return Reading(signal, value, gauge.unit, gauge.u, time_s, origin, quality=quality, evidence=Evidence.OBSERVED)


def typed_series(gauge: Gauge, signal: str, values: tuple[float, ...], times_s: tuple[float, ...]) -> Series:
    """Typed values as a series that a criterion can be computed from. Raises: InputError: one is not a number."""
    for value in values:
        _finite(gauge, value)
    return Series(signal, gauge.unit, times_s, values, gauge.resolution, gauge.accuracy)


def _finite(gauge: Gauge, value: float) -> None:
    if not math.isfinite(value):
        raise InputError(Code.GAUGE_BAD, f"{gauge.name}: type a number in {gauge.unit}")
