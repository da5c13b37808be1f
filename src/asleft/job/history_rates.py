"""How often and how long, with intervals, and control limits of single values. Pure.

Sources: E. B. Wilson 1927 for the interval of a share (as in NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.1,
from memory); order statistics for the interval of a median (Conover, Practical Nonparametric Statistics, from
memory); NIST/SEMATECH e-Handbook 6.3.2.2 for single values and moving ranges (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, cast

import msgspec
import numpy as np
from scipy import stats

from asleft.figure.control_chart import ControlLimits

#: Any: scipy has no types.
_STATS = cast("Any", stats)
#: Confidence of every interval here.
CONFIDENCE = 0.95
#: Mean and standard deviation of the range of two normal values, in standard deviations: 2/√π, √(2 - 4/π).
D2, D3 = 2.0 / math.sqrt(math.pi), math.sqrt(2.0 - 4.0 / math.pi)
#: Upper limit of the range of two, in mean ranges; 3.267 in the tables.
D4 = 1.0 + 3.0 * D3 / D2
#: With fewer values no control limits are given (ours; common practice asks for 20 or more).
FEWEST_FOR_LIMITS = 8
#: With fewer runs nothing is said of how long the next will take (ours).
FEWEST_FOR_TIME = 5


class Share(msgspec.Struct, frozen=True):
    """``count`` of ``of``, with its 95 % interval; all None of nothing."""

    count: int
    of: int
    value: float | None
    low: float | None
    high: float | None


class Times(msgspec.Struct, frozen=True):
    """Durations, s: median with its 95 % interval (None: too few for one), and where 10 % and 90 % lie."""

    n: int
    median_s: float | None
    low_s: float | None
    high_s: float | None
    p10_s: float | None
    p90_s: float | None


def share(count: int, of: int) -> Share:
    """A share and its 95 % Wilson interval, taking the runs as independent. Args: 0 <= count <= of."""
    if of == 0:
        return Share(0, 0, None, None, None)
    interval = _STATS.binomtest(count, of).proportion_ci(CONFIDENCE, method="wilson")
    return Share(count, of, count / of, float(interval.low), float(interval.high))


def times(seconds: Sequence[float]) -> Times:
    """Median and spread of durations, with no assumption about their distribution."""
    n = len(seconds)
    if n == 0:
        return Times(0, None, None, None, None, None)
    ordered = np.sort(np.asarray(seconds, dtype=float))
    # the k-th smallest and the k-th largest hold the median with a probability of 1 - 2 P(B < k), B binomial(n, 1/2)
    k = int(_STATS.binom.ppf((1.0 - CONFIDENCE) / 2.0, n, 0.5))
    held = k >= 1 and 1.0 - 2.0 * float(_STATS.binom.cdf(k - 1, n, 0.5)) >= CONFIDENCE
    low, high = (float(ordered[k - 1]), float(ordered[n - k])) if held else (None, None)
    p10, median, p90 = (float(q) for q in np.quantile(ordered, (0.1, 0.5, 0.9)))
    return Times(n, median, low, high, p10, p90)


def control_limits(values: Sequence[float]) -> ControlLimits | None:
    """Centre and three-sigma limits of single values from their moving ranges of two; None: too few values."""
    if len(values) < FEWEST_FOR_LIMITS:
        return None
    centre = math.fsum(values) / len(values)
    step = math.fsum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    reach = 3.0 * step / D2
    return ControlLimits(centre, centre - reach, centre + reach, D4 * step)


def outside(values: Sequence[float], limits: ControlLimits | None) -> tuple[int, ...]:
    """Places of values beyond the control limits, and of those a step too far from the one before."""
    if limits is None:
        return ()
    beyond = {n for n, value in enumerate(values) if not limits.low <= value <= limits.high}
    jumped = {n for n, (a, b) in enumerate(pairwise(values), 1) if abs(b - a) > limits.step_high}
    return tuple(sorted(beyond | jumped))
