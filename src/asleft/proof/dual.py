"""Two sensors that watch one thing: their sum or their ratio over a slow sweep."""

from __future__ import annotations

import math

import numpy as np

from asleft.model.message import say
from asleft.model.numbers import short, show, with_unit
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .pairing import Paired, paired
from .samples import look_over

#: Fewest pairs in a part of the travel that is judged.
FEWEST_PAIRS = 20
#: Parts into which the travel is divided: an error may live in one of them only.
_PARTS = 5


def sum_error(
    first: Series, second: Series, total: float, *, min_span: float = 30.0, ends: tuple[float, float] | None = None
) -> Estimate | NoEstimate:
    """Largest departure of first + second from ``total`` over the travel, as the mean of the worst fifth of it.

    Args: first, second: of one unit, rising and falling. total: their sum. min_span: least travel of the first.
    Returns: size of the departure, ≥ 0, in their unit; parts *spread*, *resolution* (two roundings), *accuracy* (both).
    Source: JCGM 100:2008, 5.1.2; limit 3 %: common practice, no source.
    """
    pairs = _swept(first, second, min_span, ends)
    if isinstance(pairs, NoEstimate):
        return pairs
    departures = pairs.first + pairs.second - total
    return _worst(
        pairs, departures, first, first.unit, math.hypot(first.resolution, second.resolution) / math.sqrt(12.0)
    )


def ratio_error(
    first: Series, second: Series, ratio: float, *, min_span: float = 15.0, ends: tuple[float, float] | None = None
) -> Estimate | NoEstimate:
    """Largest departure of first / second from ``ratio`` over the travel, as the mean of the worst fifth of it.

    Args: first, second: of one unit. ratio: what the first is to the second. min_span: least travel of the first.
    Returns: size of the departure, ≥ 0, unit 1.
    """
    pairs = _swept(first, second, min_span, ends)
    if isinstance(pairs, NoEstimate):
        return pairs
    smallest = float(np.min(np.abs(pairs.second)))
    if smallest <= 3.0 * second.resolution:
        message = say("proof.ratio-of-nothing", "the second reading comes too near nought for a ratio")
        return NoEstimate((Reason.RESOLUTION,), message, len(pairs), pairs.window_s)
    departures = pairs.first / pairs.second - ratio
    rounding = math.hypot(first.resolution / smallest, abs(ratio) * second.resolution / smallest) / math.sqrt(12.0)
    return _worst(pairs, departures, first, "1", rounding)


def _swept(first: Series, second: Series, min_span: float, ends: tuple[float, float] | None) -> Paired | NoEstimate:
    a = look_over(first, least=FEWEST_PAIRS, ends=ends)
    b = look_over(second, least=FEWEST_PAIRS, ends=ends)
    if isinstance(a, NoEstimate):
        return a
    if isinstance(b, NoEstimate):
        return b
    if first.unit != second.unit:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.dual-units", "the two sensors have different units"))
    pairs = paired(a, b)
    if len(pairs) < FEWEST_PAIRS:
        template = "{n} readings have a partner within a second, {least} are needed"
        return NoEstimate(
            (Reason.TOO_FEW,), say("proof.dual-pairs", template, n=len(pairs), least=FEWEST_PAIRS), len(pairs)
        )
    span = float(np.diff(np.quantile(pairs.first, [0.02, 0.98]))[0])
    if span < min_span:
        template = "{name} moved over {span}, {need} are needed"
        shown = {"span": show(span, first.unit, min_span), "need": with_unit(short(min_span), first.unit)}
        message = say("proof.dual-span", template, name=first.signal.replace("-", " "), **shown)
        return NoEstimate((Reason.RESOLUTION,), message, len(pairs), pairs.window_s)
    return pairs


def _worst(pairs: Paired, departures: Array, first: Series, unit: str, rounding: float) -> Estimate:
    """Mean departure of the part of the travel where it is largest."""
    edges: Array = np.linspace(float(pairs.first.min()), float(pairs.first.max()), _PARTS + 1)
    where = np.clip(np.searchsorted(edges, pairs.first, side="right") - 1, 0, _PARTS - 1)
    sorted_out = [inside for part in range(_PARTS) if len(inside := departures[where == part]) >= 4] or [departures]
    value, u, n = max((abs(float(d.mean())), _u_mean(d), len(d)) for d in sorted_out)
    parts = {"spread": u, "resolution": rounding, "accuracy": math.sqrt(2.0 / 3.0) * first.accuracy}
    return Estimate(value, combined(parts), unit, len(departures), float(n), pairs.window_s, parts)


def _u_mean(departures: Array) -> float:
    """Uncertainty of a mean over a part of the travel: that part was all seen, so it is at most their own spread."""
    return min(mean_uncertainty(departures)[0], float(departures.std()))
