"""The supply: its sag under a load, its ripple as far as the rate shows it, and when it reaches a limit."""

from __future__ import annotations

import math

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, cut, look_over, wild
from .steady import FEWEST

#: Readings further apart than this say nothing about ripple, s.
RIPPLE_S = 0.25
#: A time to the limit beyond this is said as "not within", s.
FAR_S = 8 * 3600.0


def sag(series: Series, on_s: float, off_s: float | None = None, *, settle_s: float = 1.0) -> Estimate | NoEstimate:
    """Fall of the supply when a load is switched on: mean before less mean while it is on.

    Args: series: V, read before and after. on_s, off_s: when the load came and went. settle_s: left out after it came.
    Returns: V; the sensor's own offset drops out, its steps do not.
    """
    samples = look_over(series, least=2 * FEWEST)
    if isinstance(samples, NoEstimate):
        return samples
    before = cut(samples, (samples.times[0], on_s - 1e-9))
    while_on = cut(samples, (on_s + settle_s, off_s if off_s is not None else samples.times[-1]))
    if min(len(before), len(while_on)) < FEWEST:
        template = "{before} readings before the load and {on} with it, {least} of each are needed"
        message = say("proof.sag-few", template, before=len(before), on=len(while_on), least=FEWEST)
        return NoEstimate((Reason.TOO_FEW,), message, len(samples), samples.window_s)
    return _fall(before, while_on, math.sqrt(2.0) * series.resolution)


def ripple(series: Series) -> Estimate | NoEstimate:
    """Peak to peak of the supply round its slow course, as far as the reading rate shows it.

    Returns: V; faster ripple than half the rate is not seen, and the note says so.
    """
    samples = look_over(series, least=3 * FEWEST)
    if isinstance(samples, NoEstimate):
        return samples
    if samples.step_s > RIPPLE_S:
        template = "read every {step}: ripple is not seen below {most}"
        message = say("proof.ripple-rate", template, step=show(samples.step_s, "s", 1.0), most=show(RIPPLE_S, "s", 0.5))
        return NoEstimate((Reason.RESOLUTION,), message, len(samples), samples.window_s)
    round_course = samples.values - _course(samples)
    low, high = np.quantile(round_course, [0.005, 0.995])
    sd = float(round_course.std())
    parts = {"spread": 1.5 * sd / math.sqrt(len(samples)) * 2.0, "resolution": series.resolution / math.sqrt(6.0)}
    note = say("proof.ripple-seen", "only what is slower than {f} Hz is seen", f=f"{0.5 / samples.step_s:.1f}")
    n = len(samples)
    return Estimate(float(high - low), combined(parts), series.unit, n, float(n), samples.window_s, parts, (note,))


class TimeToLimit(msgspec.Struct, frozen=True):
    """When a slowly moving quantity reaches a limit.

    Attributes:
        rate: change a minute, in the unit of the signal a minute.
        likely_s, soonest_s, latest_s: from the last reading, s; None: not within eight hours.
    """

    rate: Estimate
    likely_s: float | None
    soonest_s: float | None
    latest_s: float | None


def time_to_limit(series: Series, limit: float) -> TimeToLimit | NoEstimate:
    """When the course of the readings, carried on as it is, reaches the limit, with the interval of 95 %.

    Args: series: n ≥ 20, moving steadily. limit: in its unit.
    Source: straight line by least squares with correlated remainders; the interval from the slope's alone, since over
        minutes the level is known far better than the slope.
    """
    samples = look_over(series, least=2 * FEWEST)
    if isinstance(samples, NoEstimate):
        return samples
    t = samples.times - samples.times.mean()
    power = float(t @ t)
    if power <= 0.0:
        return NoEstimate((Reason.TOO_FEW,), say("proof.no-time", "all readings have one time"), len(samples))
    rate = float(t @ samples.values) / power
    remains: Array = samples.values - samples.values.mean() - rate * t
    n = len(samples)
    u_fit = n * mean_uncertainty(t * remains)[0] / power
    parts = {"spread": u_fit, "resolution": series.resolution / max(samples.span_s, 1e-9) / math.sqrt(6.0)}
    u = combined(parts)
    last = float(samples.values.mean() + rate * t[-1])
    minute = {name: 60.0 * part for name, part in parts.items()}
    found = Estimate(60.0 * rate, 60.0 * u, per_minute(series.unit), n, float(n), samples.window_s, minute)
    times = sorted(
        (_reach(limit - last, r) for r in (rate - 2.0 * u, rate + 2.0 * u)), key=lambda s: math.inf if s is None else s
    )
    return TimeToLimit(found, _reach(limit - last, rate), times[0], times[1])


def per_minute(unit: str) -> str:
    """Unit of a change a minute: K/min for temperatures."""
    return f"{'K' if unit == '°C' else unit}/min"


def level_after(series: Series, minutes: float) -> Estimate | NoEstimate:
    """Where the course of the readings, carried on as it is, will stand.

    Args: series: n ≥ 20, moving steadily. minutes: after the last reading, min.
    Returns: in the series' unit; parts *rate* (its uncertainty times the time), *spread*, *resolution*, *accuracy*.
    Source: straight line by least squares; JCGM 100:2008, 5.1.2. It holds while the load stays as it is.
    """
    course = time_to_limit(series, 0.0)
    if isinstance(course, NoEstimate):
        return course
    rate, values = course.rate, np.asarray(series.values)
    half_min = (series.times_s[-1] - series.times_s[0]) / 120.0
    now = float(values.mean()) + rate.value * half_min
    parts = {
        "rate": rate.u * (minutes + half_min),
        "spread": mean_uncertainty(values - rate.value * np.asarray(series.times_s) / 60.0)[0],
        "resolution": series.resolution / math.sqrt(12.0),
        "accuracy": series.accuracy / math.sqrt(3.0),
    }
    n = len(series)
    return Estimate(now + rate.value * minutes, combined(parts), series.unit, n, float(n), rate.window_s, parts)


def sag_between(without: Series, loaded: Series) -> Estimate | NoEstimate:
    """Fall of the supply from a recording without a load to one with it.

    Args: of one sensor and unit, n ≥ 10 each.
    Returns: V; the sensor's own offset drops out, its steps do not.
    """
    both = [look_over(s, least=FEWEST) for s in (without, loaded)]
    for one in both:
        if isinstance(one, NoEstimate):
            return one
        if one.series.unit != without.unit:
            return NoEstimate((Reason.CONTRADICTION,), say("proof.sag-units", "the two recordings differ in unit"))
    before, while_on = (one for one in both if isinstance(one, Samples))
    return _fall(before, while_on, math.hypot(without.resolution, loaded.resolution))


def _fall(before: Samples, while_on: Samples, steps: float) -> Estimate | NoEstimate:
    """Mean of one less mean of the other, unless wild readings lie in either."""
    stray = wild(before) or wild(while_on)
    if stray is not None:
        return stray
    (u_before, n_before), (u_on, n_on) = mean_uncertainty(before.values), mean_uncertainty(while_on.values)
    parts = {"spread": math.hypot(u_before, u_on), "resolution": steps / math.sqrt(12.0)}
    value = float(before.values.mean() - while_on.values.mean())
    window = (min(before.window_s[0], while_on.window_s[0]), max(before.window_s[1], while_on.window_s[1]))
    n = len(before) + len(while_on)
    return Estimate(value, combined(parts), before.series.unit, n, min(n_before, n_on), window, parts)


def _reach(way: float, rate: float) -> float | None:
    """Time to go a way at a rate; None when it leads elsewhere or takes too long."""
    if way == 0.0:
        return 0.0
    needed = way / rate if rate else math.inf
    return needed if 0.0 <= needed <= FAR_S else None


def _course(samples: Samples) -> Array:
    """Slow course: a parabola over the window."""
    t = (samples.times - samples.times.mean()) / max(samples.span_s, 1e-9)
    columns = np.column_stack([np.ones(len(t)), t, t * t])
    return columns @ np.linalg.lstsq(columns, samples.values, rcond=None)[0]
