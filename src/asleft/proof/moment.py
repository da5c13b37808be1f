"""When something sudden came, as another signal shows it: a load switched on, a pedal let go."""

from __future__ import annotations

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import short, with_unit
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .estimate import NoEstimate
from .samples import look_over

#: The first so many seconds show what the signal was before.
BEFORE_S = 3.0
_FEWEST = 3


class Moment(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The first reading that shows it.

    Attributes:
        signal: id; not the one that is judged.
        unit: of the numbers.
        change: as far from its level in the first three seconds, with its sign: ``-0.2`` V when lamps come on.
        below: or: at or below this for the first time after its largest reading: 2 % of a pedal let go.
    """

    signal: str
    unit: str
    change: float | None = None
    below: float | None = None

    def __post_init__(self) -> None:
        if (self.change is None) == (self.below is None) or self.change == 0.0:
            raise ValueError("moment: either change or below")


class When(msgspec.Struct, frozen=True):
    """Between the last reading that does not show it and the first that does, s."""

    earliest_s: float
    latest_s: float


def find_moment(moment: Moment, series: Series) -> When | NoEstimate:
    """When it came. Args: series: of the moment's signal, in the moment's unit."""
    samples = look_over(series, least=2 * _FEWEST)
    if isinstance(samples, NoEstimate):
        return samples
    if series.unit != moment.unit:
        template = "{name} was recorded in {unit}, not in {wanted}"
        message = say("proof.moment-unit", template, name=_words(moment), unit=series.unit, wanted=moment.unit)
        return NoEstimate((Reason.CONTRADICTION,), message, len(samples), samples.window_s)
    if moment.below is not None:
        shown = (samples.values <= moment.below) & (np.arange(len(samples)) > int(np.argmax(samples.values)))
    else:
        first = samples.values[samples.times <= samples.times[0] + BEFORE_S]
        if len(first) < _FEWEST:
            return _unseen(moment, len(samples), samples.window_s, "too few readings before it")
        change = moment.change or 0.0
        shown = (samples.values - float(np.median(first))) * np.sign(change) >= abs(change)
    at = np.flatnonzero(shown)
    if len(at) == 0 or at[0] == 0:
        return _unseen(moment, len(samples), samples.window_s, "no reading shows it")
    u = series.u_time_s
    return When(float(samples.times[at[0] - 1]) - u, float(samples.times[at[0]]) + u)


def _unseen(moment: Moment, n: int, window_s: tuple[float, float], why: str) -> NoEstimate:
    limit = moment.change if moment.change is not None else moment.below
    how = "a change of" if moment.change is not None else "a fall to"
    template = "{how} {limit} of {name} was not seen: {why}"
    shown = {"how": how, "limit": with_unit(short(limit or 0.0), moment.unit), "name": _words(moment), "why": why}
    return NoEstimate((Reason.WINDOW,), say("proof.moment-unseen", template, **shown), n, window_s)


def _words(moment: Moment) -> str:
    return moment.signal.replace("-", " ")
