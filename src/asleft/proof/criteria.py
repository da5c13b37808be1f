"""From saved recordings to a judgement, criterion by criterion. Pure: the same recordings always judge alike.

A judgement can be computed again by anyone from the recordings in the record.
"""

from __future__ import annotations

from asleft.model.verdict import Judgement

from .air_criteria import judge_flow_area, judge_leakage
from .codes import CodesSeen, judge_codes
from .criterion_data import (
    CodeAbsent,
    Criterion,
    DualRatio,
    DualSum,
    FlowArea,
    IdleHunting,
    IdleMean,
    IdleSpread,
    RestRange,
    TrackingResidual,
    TrackingSlope,
    TrimSum,
    ZeroAtRest,
)
from .criterion_more import (
    LeakageChange,
)
from .dual import ratio_error, sum_error
from .more_criteria import judge_more
from .rest import rest_range
from .saved import Saved, decide_for, select, unrecorded
from .steady_criteria import judge_idle, judge_trims
from .tracking import Tracking, tracking
from .zero import Stillness, zero_at_rest

__all__ = ["CodesSeen", "Saved", "judge", "select"]


def judge(criterion: Criterion, samples: Saved, codes: CodesSeen | None = None) -> Judgement:
    """Judge one criterion from what was saved.

    Args: samples: recordings by name, as the record holds them. codes: for criteria on trouble codes.
    """
    match criterion:
        case RestRange():
            rests = select(samples, criterion.saved, criterion.signal)
            found = rest_range(rests, cycles=criterion.cycles, ends=criterion.ends)
            return decide_for(criterion, found, rests, samples)
        case TrackingSlope() | TrackingResidual():
            return _tracking(criterion, samples)
        case IdleMean() | IdleSpread() | IdleHunting():
            return judge_idle(criterion, samples)
        case TrimSum():
            return judge_trims(criterion, samples)
        case FlowArea():
            return judge_flow_area(criterion, samples)
        case LeakageChange():
            return judge_leakage(criterion, samples)
        case DualSum() | DualRatio():
            return _dual(criterion, samples)
        case ZeroAtRest():
            return _zero(criterion, samples)
        case CodeAbsent():
            return judge_codes(criterion, codes)
        case _:
            return judge_more(criterion, samples)


def _tracking(criterion: TrackingSlope | TrackingResidual, samples: Saved) -> Judgement:
    actual, commanded = (select(samples, criterion.saved, s) for s in (criterion.actual, criterion.commanded))
    if not actual or not commanded:
        missing = criterion.commanded if actual else criterion.actual
        return decide_for(criterion, unrecorded(missing, criterion.saved), (), samples)
    found = tracking(actual[-1], commanded[-1], min_span=criterion.min_span, ends=criterion.ends)
    if isinstance(found, Tracking):
        found = found.slope if isinstance(criterion, TrackingSlope) else found.residual
    return decide_for(criterion, found, (actual[-1],), samples)


def _dual(criterion: DualSum | DualRatio, samples: Saved) -> Judgement:
    first, second = (select(samples, criterion.saved, s) for s in (criterion.first, criterion.second))
    if not first or not second:
        missing = criterion.second if first else criterion.first
        return decide_for(criterion, unrecorded(missing, criterion.saved), (), samples)
    if isinstance(criterion, DualSum):
        found = sum_error(first[-1], second[-1], criterion.total, min_span=criterion.min_span, ends=criterion.ends)
        return decide_for(criterion, found, first, samples)
    found = ratio_error(first[-1], second[-1], criterion.ratio, min_span=criterion.min_span, ends=criterion.ends)
    return decide_for(criterion, found, (), samples)


def _zero(criterion: ZeroAtRest, samples: Saved) -> Judgement:
    series = select(samples, criterion.saved, criterion.signal)
    if not series:
        return decide_for(criterion, unrecorded(criterion.signal, criterion.saved), (), samples)
    found = zero_at_rest(series[-1], Stillness(criterion.most_sd, criterion.most_trend))
    return decide_for(criterion, found, series, samples)
