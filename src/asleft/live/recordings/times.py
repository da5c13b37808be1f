"""Times as recordings write them: seconds, clock of the day, date and time. Pure."""

from __future__ import annotations

import math
import re
from datetime import datetime

from .column_map import TimeForm

_CLOCK = re.compile(r"(\d{1,2}):(\d{2}):(\d{2}(?:\.\d{1,9})?)")

#: A clock that goes back by more than this has passed midnight, s.
HALF_DAY_S = 43_200.0
DAY_S = 86_400.0


def seconds_of(text: str, form: TimeForm) -> float:
    """Seconds since the zero of the form. Raises ValueError with what is wrong."""
    match form:
        case TimeForm.CLOCK:
            return _clock(text)
        case TimeForm.DATE_TIME:
            return datetime.fromisoformat(text).timestamp() if _has_zone(text) else _without_zone(text)
        case _:
            value = float(text)
            if not math.isfinite(value):
                raise ValueError("not a finite number")
            return value / 1000.0 if form is TimeForm.MILLISECONDS else value


def after_midnight(time_s: float, before_s: float, form: TimeForm) -> float:
    """A clock time on the same scale as the row before: a large step back is the next day."""
    if form is not TimeForm.CLOCK:
        return time_s
    days = math.floor(before_s / DAY_S)
    time_s += days * DAY_S
    return time_s + DAY_S if time_s < before_s - HALF_DAY_S else time_s


def _clock(text: str) -> float:
    found = _CLOCK.fullmatch(text)
    if not found:
        raise ValueError("not a time like 08:24:29.866")
    hours, minutes, seconds = int(found[1]), int(found[2]), float(found[3])
    if hours > 23 or minutes > 59 or seconds >= 61:
        raise ValueError("not a time of a day")
    return hours * 3600.0 + minutes * 60.0 + seconds


def _has_zone(text: str) -> bool:
    return datetime.fromisoformat(text).tzinfo is not None


def _without_zone(text: str) -> float:
    """Local time without a zone: counted as if every day had 24 hours."""
    moment = datetime.fromisoformat(text)
    return (
        moment.toordinal() * DAY_S
        + (moment - moment.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()
    )
