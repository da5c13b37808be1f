"""Whether a position follows its command: slope, what remains, and how far behind it is.

The two readings may differ by an offset (other zero points), so their difference is no criterion; the slope is. The
actual value is read a little after the command and follows a little later, which on a sweep looks like an error; it is
fitted along as a delay. Both readings are rounded: the rounding of the command would make the slope too small, and its
known share is taken out (errors in both variables).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import short, show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array, Mask
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .pairing import FURTHEST_S, paired
from .samples import Samples, look_over

#: Fewest pairs of readings.
FEWEST_PAIRS = 20
#: A command that changes by less than this share of the least span a second stands still; its rests prove nothing.
MOVING = 1.0 / 30.0
#: Half-width over which the speed of the command is taken, s.
_SPEED_S = 0.5


class Tracking(msgspec.Struct, frozen=True):
    """Result of the fit.

    Attributes:
        slope: of actual on commanded, unit 1.
        residual: standard deviation of what the line and the delay leave, in the signals' unit.
        delay: of actual behind commanded, s; it holds what the link adds.
        span: of the command without its outer 2 % on each side, in the signals' unit.
    """

    slope: Estimate
    residual: Estimate
    delay: Estimate
    span: float


@dataclass(frozen=True)
class _Pairs:
    """Pairs of readings and the command's speed, each of length n."""

    times: Array
    commanded: Array
    actual: Array
    speed: Array
    rounding: float  # variance that rounding leaves in a paired command


def tracking(
    actual: Series, commanded: Series, *, min_span: float = 30.0, ends: tuple[float, float] | None = None
) -> Tracking | NoEstimate:
    """Slope of actual on commanded over a slow sweep, with what remains.

    Args:
        actual, commanded: of one unit, recorded together.
        min_span: least span of the command, in its unit; below it nobody can tell.
        ends: ends of the sensors' range.
    Returns: estimates; u counts correlated remainders and rounding.
    Source: regression by least squares; known error variance in the regressor taken out, W. A. Fuller, *Measurement
        Error Models* (1987), 1.2 (recalled); limits: common practice, no source.
    """
    y = look_over(actual, least=FEWEST_PAIRS, ends=ends)
    x = look_over(commanded, least=FEWEST_PAIRS, ends=ends)
    if isinstance(y, NoEstimate) or isinstance(x, NoEstimate):
        return y if isinstance(y, NoEstimate) else x if isinstance(x, NoEstimate) else _unpaired(actual, commanded)
    if actual.unit != commanded.unit:
        template = "{a} is in {unit_a}, {c} in {unit_c}"
        words = {"a": _words(actual), "c": _words(commanded)}
        message = say("proof.units-differ", template, unit_a=actual.unit, unit_c=commanded.unit, **words)
        return NoEstimate((Reason.CONTRADICTION,), message)
    pairs = _pairs(y, x)
    if len(pairs.times) < FEWEST_PAIRS:
        return _unpaired(actual, commanded)
    span = float(np.diff(np.quantile(pairs.commanded, [0.02, 0.98]))[0])
    thirds = np.histogram(pairs.commanded, bins=3)[0]
    if span < min_span or thirds.min() < 3:
        return _narrow(commanded, pairs, span, min_span)
    if float(np.ptp(pairs.actual)) == 0.0:
        template = "{name} stood at {value} to the bit while the command moved over {span}: stuck or frozen"
        shown = {"value": show(float(pairs.actual[0]), actual.unit), "span": show(span, actual.unit)}
        message = say("proof.stuck-or-frozen", template, name=_words(actual), **shown)
        return NoEstimate((Reason.FROZEN,), message, len(pairs.times), _window(pairs))
    moving = np.abs(pairs.speed) >= MOVING * min_span
    if int(np.count_nonzero(moving)) < FEWEST_PAIRS:
        return _too_still(commanded, pairs, int(np.count_nonzero(moving)))
    return _fit(pairs, moving, actual, span)


def _pairs(y: Samples, x: Samples) -> _Pairs:
    """Commands at the times of the actual readings, with their speed."""
    at = paired(y, x)
    speed = _speed(at.times, at.second) if len(at) > 1 else np.zeros(len(at))
    return _Pairs(at.times, at.second, at.first, speed, at.rounding)


def _speed(times: Array, values: Array) -> Array:
    """Speed over ± half a second by the difference of interpolated values, per second; 0 where times do not advance."""
    rising, first = np.unique(times, return_index=True)
    if len(rising) < 2:
        return np.zeros(len(times))
    later = np.minimum(times + _SPEED_S, times[-1])
    earlier = np.maximum(times - _SPEED_S, times[0])
    change = np.interp(later, rising, values[first]) - np.interp(earlier, rising, values[first])
    return change / (later - earlier)


def _fit(pairs: _Pairs, moving: Mask, actual: Series, span: float) -> Tracking:
    n = len(pairs.times)
    others = np.column_stack([np.ones(n), pairs.speed])
    alone = _without(pairs.commanded, others)
    power = float(alone @ alone)
    slope = float(alone @ pairs.actual) / max(power - n * pairs.rounding, 0.5 * power)
    left = pairs.actual - slope * pairs.commanded
    offset_and_lag = np.linalg.lstsq(others, left, rcond=None)[0]
    remains = left - others @ offset_and_lag
    u_slope = n * mean_uncertainty(alone * remains)[0] / power
    u_rounding = pairs.rounding * n / power * abs(slope)
    parts = {
        "spread": u_slope,
        "rounding of the command": u_rounding,
        "resolution": actual.resolution / span / math.sqrt(6.0),
    }
    window = _window(pairs)
    n_eff = mean_uncertainty(remains)[1]
    return Tracking(
        Estimate(slope, combined(parts), "1", n, n_eff, window, parts),
        _spread_of(remains[moving], actual, window),
        _delay(pairs, remains, float(offset_and_lag[1]), slope, window),
        span,
    )


def _spread_of(remains: Array, actual: Series, window: tuple[float, float]) -> Estimate:
    """Standard deviation of what remains while the command moved; rests would only make it look smaller."""
    n = len(remains)
    value = math.sqrt(float(remains @ remains) / (n - 3))
    u_square, n_eff = mean_uncertainty(np.square(remains))
    parts = {
        "spread": u_square / (2.0 * value) if value > 0.0 else 0.0,
        "resolution": actual.resolution / math.sqrt(12.0) / 4.0,
    }
    note = say("proof.rounding-inside", "rounding of both readings is part of it")
    return Estimate(value, combined(parts), actual.unit, n, n_eff, window, parts, (note,))


def _delay(pairs: _Pairs, remains: Array, lag: float, slope: float, window: tuple[float, float]) -> Estimate:
    """Delay from the coefficient of the speed: a value that follows d seconds later is smaller by d times the speed."""
    n = len(pairs.times)
    others = np.column_stack([np.ones(n), pairs.commanded])
    alone = _without(pairs.speed, others)
    power = float(alone @ alone)
    if power <= 0.0 or slope == 0.0:
        return Estimate(0.0, FURTHEST_S, "s", n, 1.0, window)
    u, n_eff = mean_uncertainty(alone * remains)
    return Estimate(-lag / slope, n * u / power / abs(slope), "s", n, n_eff, window)


def _without(values: Array, others: Array) -> Array:
    """What of the values the others do not explain."""
    return values - others @ np.linalg.lstsq(others, values, rcond=None)[0]


def _narrow(commanded: Series, pairs: _Pairs, span: float, min_span: float) -> NoEstimate:
    template = "{name} moved over {span}, at least {need} with readings all along are needed"
    shown = {"span": show(span, commanded.unit, min_span), "need": f"{short(min_span)} {commanded.unit}"}
    message = say("proof.narrow-sweep", template, name=_words(commanded), **shown)
    return NoEstimate((Reason.RESOLUTION,), message, len(pairs.times), _window(pairs))


def _too_still(commanded: Series, pairs: _Pairs, moving: int) -> NoEstimate:
    template = "{n} readings while {name} moved, at least {least} are needed: sweep more slowly"
    message = say("proof.fast-sweep", template, n=moving, name=_words(commanded), least=FEWEST_PAIRS)
    return NoEstimate((Reason.TOO_FEW,), message, len(pairs.times), _window(pairs))


def _unpaired(actual: Series, commanded: Series) -> NoEstimate:
    template = "fewer than {least} readings of {a} have one of {c} within {far} s"
    words = {"a": _words(actual), "c": _words(commanded), "least": FEWEST_PAIRS, "far": f"{FURTHEST_S:g}"}
    return NoEstimate((Reason.TOO_FEW,), say("proof.unpaired", template, **words), len(actual))


def _window(pairs: _Pairs) -> tuple[float, float]:
    return float(pairs.times[0]), float(pairs.times[-1])


def _words(series: Series) -> str:
    return series.signal.replace("-", " ")
