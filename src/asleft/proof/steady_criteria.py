"""Criteria on a steady window of an idling engine: mean, spread, rhythm, trims."""

from __future__ import annotations

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, Reason

from .criterion_data import IdleHunting, IdleMean, IdleSpread, TrimSum
from .estimate import Estimate, NoEstimate
from .hunting import Hunting, hunting
from .samples import Samples, look_over, wild
from .saved import Saved, decide_for, select, unrecorded
from .steady import mean_of, spread_of
from .steady_window import steady_window, wish


def judge_idle(criterion: IdleMean | IdleSpread | IdleHunting, samples: Saved) -> Judgement:
    """Mean, spread or rhythm of idle speed."""
    series = select(samples, criterion.saved, criterion.signal)
    if not series:
        return decide_for(criterion, unrecorded(criterion.signal, criterion.saved), (), samples)
    window = steady_window(wish(criterion, noisy=True), series[-1], samples)
    if isinstance(window, NoEstimate):
        return decide_for(criterion, window, series, samples)
    match criterion:
        case IdleMean():
            found = wild(window) or mean_of(window)
        case IdleSpread():
            found = spread_of(window)
        case IdleHunting():
            found = _rhythm(window)
    return decide_for(criterion, found, series, samples)


def _rhythm(window: Samples) -> Estimate | NoEstimate:
    times, values = tuple(window.times.tolist()), tuple(window.values.tolist())
    found = hunting(msgspec.structs.replace(window.series, times_s=times, values=values))
    return found.amplitude if isinstance(found, Hunting) else found


def judge_trims(criterion: TrimSum, samples: Saved) -> Judgement:
    """Both trims together."""
    short = select(samples, criterion.saved, criterion.short)
    long = select(samples, criterion.saved, criterion.long)
    if not short or not long:
        missing = criterion.long if short else criterion.short
        return decide_for(criterion, unrecorded(missing, criterion.saved), (), samples)
    total = _sum(short[-1], long[-1])
    if isinstance(total, Series):
        window = steady_window(wish(criterion, noisy=False), total, samples)
        total = window if isinstance(window, NoEstimate) else wild(window) or mean_of(window)
    return decide_for(criterion, total, short, samples)


def _sum(short: Series, long: Series) -> Series | NoEstimate:
    """Both trims added, the long one as last seen at each reading of the short one."""
    a, b = look_over(short), look_over(long)
    if isinstance(a, NoEstimate) or isinstance(b, NoEstimate):
        return a if isinstance(a, NoEstimate) else b if isinstance(b, NoEstimate) else unrecorded(long.signal, "")
    if short.unit != long.unit:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.trim-units", "the two trims have different units"))
    at = np.searchsorted(b.times, a.times, side="right") - 1
    keep = at >= 0
    values = a.values[keep] + b.values[at[keep]]
    return msgspec.structs.replace(
        short,
        signal="trim-sum",
        times_s=tuple(a.times[keep].tolist()),
        values=tuple(values.tolist()),
        resolution=float(np.hypot(short.resolution, long.resolution)),
        accuracy=float(np.hypot(short.accuracy, long.accuracy)),
    )
