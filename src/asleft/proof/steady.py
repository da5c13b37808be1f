"""Mean and spread of a signal that is meant to stand still, each with its uncertainty."""

from __future__ import annotations

import math

import numpy as np

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .correlated import mean_uncertainty, widening
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, look_over

#: Fewest samples from which a spread may be seen. Our own choice.
FEWEST = 10


def mean(series: Series, *, noisy: bool = False) -> Estimate | NoEstimate:
    """Mean of a series with its standard uncertainty.

    Args: series: as saved, n ≥ 10. noisy: a constant series is not alive.
    Returns: value and u in the series' unit. Parts: *spread* (correlation counted), *resolution* q/√12 (averaging is
        not trusted to remove it), *accuracy* a/√3 (averaging never removes it).
    Source: JCGM 100:2008, 4.2, 4.3.7, F.2.2.1 (recalled).
    """
    samples = look_over(series, least=FEWEST, noisy=noisy)
    return samples if isinstance(samples, NoEstimate) else mean_of(samples)


def mean_of(samples: Samples) -> Estimate | NoEstimate:
    """The same on samples already looked over."""
    if len(samples) < FEWEST:
        return _too_few(samples)
    u_spread, n_eff = mean_uncertainty(samples.values)
    s = samples.series
    parts = {"spread": u_spread, "resolution": s.resolution / math.sqrt(12.0), "accuracy": s.accuracy / math.sqrt(3.0)}
    value = float(samples.values.mean())
    return Estimate(value, combined(parts), s.unit, len(samples), n_eff, samples.window_s, parts)


def spread(series: Series, *, noisy: bool = False) -> Estimate | NoEstimate:
    """Standard deviation of a series with its standard uncertainty.

    Args: series: as saved, n ≥ 10. noisy: a constant series is not alive.
    Returns: value and u in the series' unit. The value is corrected for what the mean took away under correlation.
        Parts: *spread* (correlation of the squares counted) and *resolution* (what rounding may have added).
    Source: JCGM 100:2008, 4.2.2; u(s) by the law of propagation from the mean of squared departures.
    """
    samples = look_over(series, least=FEWEST, noisy=noisy)
    return samples if isinstance(samples, NoEstimate) else spread_of(samples)


def spread_of(samples: Samples) -> Estimate | NoEstimate:
    """The same on samples already looked over."""
    n = len(samples)
    if n < FEWEST:
        return _too_few(samples)
    d = samples.values - samples.values.mean()
    q, unit = samples.series.resolution, samples.series.unit
    _, n_mean = mean_uncertainty(samples.values)
    variance = float(d @ d) / n / (1.0 - 1.0 / max(n_mean, 1.5))
    value = math.sqrt(variance)
    if value == 0.0:
        parts = {"spread": 0.0, "resolution": q / math.sqrt(12.0)}
        return Estimate(0.0, combined(parts), unit, n, float(n), samples.window_s, parts)
    u_square, n_eff = mean_uncertainty(np.square(d))
    gaussian = value / math.sqrt(2.0 * max(1.0, n_mean - 1.0)) * widening(n_mean - 1.0) / math.sqrt(2.0)
    u_spread = max(u_square / (2.0 * value), gaussian)
    u_spread *= 1.0 + u_spread / value  # a spread that came out too small brings too small an uncertainty with it
    parts = {"spread": u_spread, "resolution": _rounding_in_spread(value, q)}
    return Estimate(value, combined(parts), unit, n, n_eff, samples.window_s, parts)


def _rounding_in_spread(value: float, q: float) -> float:
    """Rounding to steps of q adds up to q²/12 to the variance; taken as the half-width of what it may have added."""
    without = math.sqrt(max(0.0, value * value - q * q / 12.0))
    return (value - without) / math.sqrt(3.0)


def _too_few(samples: Samples) -> NoEstimate:
    template = "{n} readings of {name} over {span}, at least {least} are needed"
    shown = {"n": len(samples), "name": samples.series.signal.replace("-", " "), "least": FEWEST}
    message = say("proof.too-few-in-window", template, span=show(samples.span_s, "s"), **shown)
    return NoEstimate((Reason.TOO_FEW,), message, len(samples), samples.window_s if len(samples) else None)
