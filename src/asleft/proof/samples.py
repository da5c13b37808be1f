"""A saved series, looked over before anything is computed from it.

Nothing is mended: a series that cannot be believed comes back as the reason why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asleft.model.message import say
from asleft.model.numbers import short, show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array
from .estimate import NoEstimate

#: Share of expected samples that may be missing.
MOST_MISSING = 0.2
#: Share of samples that may stand at an end of the range.
MOST_AT_END = 0.02
#: A signal with noise that is constant to the bit for this long is not alive, s. Common practice, no source.
FROZEN_S = 10.0
#: A reading further from the median than this many usual departures is far; share of such readings in a mean.
FAR, MOST_FAR = 6.0, 0.01


@dataclass(frozen=True)
class Samples:
    """A series that can be used: finite, forward in time, long enough.

    Attributes:
        series: where it came from.
        times: s, length n.
        values: in the series' unit, length n.
    """

    series: Series
    times: Array
    values: Array

    def __len__(self) -> int:
        return len(self.values)

    @property
    def window_s(self) -> tuple[float, float]:
        """First and last time, s."""
        return float(self.times[0]), float(self.times[-1])

    @property
    def span_s(self) -> float:
        """From the first to the last sample, s."""
        return float(self.times[-1] - self.times[0])

    @property
    def step_s(self) -> float:
        """Mean time between samples, s; 0 for a single one."""
        return self.span_s / (len(self) - 1) if len(self) > 1 else 0.0


def look_over(
    series: Series,
    *,
    least: int = 1,
    ends: tuple[float, float] | None = None,
    noisy: bool = False,
    most_missing: float = MOST_MISSING,
) -> Samples | NoEstimate:
    """The series as arrays, or why it cannot be judged.

    Args:
        series: as saved.
        least: fewest samples.
        ends: ends of the sensor's range in the series' unit; readings that stand there are saturated.
        noisy: the signal always moves a little, so that a constant one is not alive.
        most_missing: share of the expected readings that may be missing.
    """
    name = series.signal.replace("-", " ")
    n = len(series)
    times = np.asarray(series.times_s, dtype=np.float64)
    values = np.asarray(series.values, dtype=np.float64)
    finite = int(np.count_nonzero(np.isfinite(times) & np.isfinite(values)))
    if n == 0:
        return _no(Reason.UNSUPPORTED, "proof.empty", "no reading of {name} came", name=name)
    if finite < n:
        template = "{bad} of {n} readings of {name} are not numbers"
        return _no(Reason.UNTRUSTED, "proof.not-numbers", template, name=name, n=n, bad=n - finite)
    window = (float(times[0]), float(times[-1]))
    problem = (
        _times(series, times, name) or _amount(series, least, most_missing, name) or _range(series, values, ends, name)
    )
    if problem is not None:
        return NoEstimate(problem.reasons, problem.message, n, window)
    samples = Samples(series, times, values)
    return (frozen(samples) if noisy else None) or samples


def cut(samples: Samples, window_s: tuple[float, float]) -> Samples:
    """The part from begin to end, both included."""
    keep = (samples.times >= window_s[0]) & (samples.times <= window_s[1])
    return Samples(samples.series, samples.times[keep], samples.values[keep])


def frozen(samples: Samples) -> NoEstimate | None:
    """Why a noisy signal is not alive: it stood to the bit for ten seconds. None when it is."""
    times, values = samples.times, samples.values
    changes = np.flatnonzero(np.diff(values) != 0.0)
    begins: Array = times[np.concatenate([[0], changes + 1])]
    ends: Array = times[np.concatenate([changes, [len(times) - 1]])]
    longest = int(np.argmax(ends - begins))
    stood_s = float(ends[longest] - begins[longest])
    if stood_s < FROZEN_S:
        return None
    template = "{name} stood at {value} to the bit for {span}: out of date or frozen"
    value = float(values[times >= begins[longest]][0])
    shown = {"value": show(value, samples.series.unit), "span": show(stood_s, "s")}
    message = say("proof.frozen", template, name=samples.series.signal.replace("-", " "), **shown)
    return NoEstimate((Reason.FROZEN,), message, len(samples), samples.window_s)


def wild(samples: Samples) -> NoEstimate | None:
    """Why a mean is not believed: more than a few readings lie far from all others. They are never taken out quietly.

    Source: median and median absolute departure (Hampel); k = 6 and 1 %: our own choice.
    """
    middle = float(np.median(samples.values))
    away: Array = np.abs(samples.values - middle)
    usual = max(1.4826 * float(np.median(away)), samples.series.resolution)
    count = int(np.count_nonzero(away > FAR * usual))
    if usual == 0.0 or count <= MOST_FAR * len(samples):
        return None
    template = "{count} of {n} readings of {name} lie far from the rest: a stumble, or readings that are not true"
    message = say("proof.wild", template, count=count, n=len(samples), name=samples.series.signal.replace("-", " "))
    return NoEstimate((Reason.UNTRUSTED,), message, len(samples), samples.window_s)


def _times(series: Series, times: Array, name: str) -> NoEstimate | None:
    steps = np.diff(times)
    backwards = np.flatnonzero(steps < 0.0)
    if len(backwards):
        template = "times of {name} run backwards at reading {at}"
        return _no(Reason.UNTRUSTED, "proof.backwards", template, name=name, at=int(backwards[0]) + 2)
    repeated = int(np.count_nonzero(steps == 0.0))
    if repeated and series.u_time_s <= 0.0:
        template = "{n} readings of {name} repeat a time, and no resolution of time is declared"
        return _no(Reason.RESOLUTION, "proof.repeated-times", template, name=name, n=repeated)
    return None


def _amount(series: Series, least: int, most_missing: float, name: str) -> NoEstimate | None:
    n = len(series)
    if n < least:
        template = "{n} readings of {name}, at least {least} are needed"
        return _no(Reason.TOO_FEW, "proof.too-few", template, name=name, n=n, least=least)
    if series.gaps > most_missing * (n + series.gaps):
        template = "{gaps} of {n} expected readings of {name} did not come"
        return _no(Reason.TOO_FEW, "proof.gaps", template, name=name, gaps=series.gaps, n=n + series.gaps)
    return None


def _range(series: Series, values: Array, ends: tuple[float, float] | None, name: str) -> NoEstimate | None:
    if not (np.isfinite(series.resolution) and series.resolution >= 0.0 and series.accuracy >= 0.0):
        return _no(Reason.UNTRUSTED, "proof.resolution", "resolution or accuracy of {name} is not a number", name=name)
    if ends is None:
        return None
    at_end = int(np.count_nonzero((values <= ends[0]) | (values >= ends[1])))
    if at_end > MOST_AT_END * len(values):
        template = "{at} of {n} readings of {name} stand at an end of its range, {low} or {high}"
        shown = {"at": at_end, "n": len(values), "low": short(ends[0]), "high": show(ends[1], series.unit)}
        return _no(Reason.UNTRUSTED, "proof.saturated", template, name=name, **shown)
    return None


def _no(reason: Reason, message_id: str, template: str, **values: object) -> NoEstimate:
    return NoEstimate((reason,), say(message_id, template, **values))
