"""Judging the forms of ``criterion_more``: changes, courses, sudden answers, steering, headings, learned values."""

from __future__ import annotations

import math
from typing import TypeVar, assert_never

import msgspec

from asleft.model.message import say
from asleft.model.reading import Series
from asleft.model.units import convert
from asleft.model.verdict import Judgement, Reason

from .criterion_more import (
    Change,
    ColdAgreement,
    Dip,
    LearnedRepeat,
    LearnedRoom,
    LevelAfter,
    MeanDifference,
    Rate,
    Recovery,
    SteadyMean,
    SteeringStraight,
    SupplyRipple,
    SupplySag,
    TwoHeadingsOf,
)
from .estimate import Estimate, NoEstimate
from .learned import room_to_end, same_again
from .moment import find_moment
from .paired import difference
from .pairing import paired
from .samples import look_over, wild
from .saved import Saved, decide_for, select, unrecorded
from .steady import mean, mean_of
from .steady_window import steady_mean, steady_window, wish
from .steering import Straight, both_directions, straight_offset
from .supply import TimeToLimit, level_after, ripple, sag_between, time_to_limit
from .transient import transient
from .warmup import cold_agreement
from .zero import Stillness, TwoHeadings, slope_degrees, two_headings, zero_at_rest

More = (
    SteadyMean
    | MeanDifference
    | Change
    | Rate
    | LevelAfter
    | Dip
    | Recovery
    | SupplySag
    | SupplyRipple
    | SteeringStraight
    | TwoHeadingsOf
    | LearnedRoom
    | LearnedRepeat
    | ColdAgreement
)
Found = Estimate | NoEstimate
T = TypeVar("T")


def judge_more(criterion: More, samples: Saved) -> Judgement:
    """Judge one of these forms from what was saved."""
    return decide_for(criterion, estimate_more(criterion, samples), (), samples)


def estimate_more(criterion: More, samples: Saved) -> Found:
    """The number that a criterion is about, or why there is none."""
    match criterion:
        case SteadyMean():
            return steady_mean(wish(criterion, noisy=False), criterion.signal, samples)
        case MeanDifference():
            return _mean_difference(criterion, samples)
        case Change():
            return _change(criterion, samples)
        case Rate() | LevelAfter():
            return _course(criterion, samples)
        case Dip() | Recovery():
            return _sudden(criterion, samples)
        case SupplySag() | SupplyRipple():
            return _supply(criterion, samples)
        case SteeringStraight():
            return _steering(criterion, samples)
        case TwoHeadingsOf():
            return _headings(criterion, samples)
        case LearnedRoom() | LearnedRepeat():
            return _learned(criterion, samples)
        case ColdAgreement():
            return _cold(criterion, samples)
        case _:
            assert_never(criterion)


def both(first: T | NoEstimate, second: T | NoEstimate) -> tuple[T, T] | NoEstimate:
    """Both, or the first reason why not."""
    if isinstance(first, NoEstimate):
        return first
    return second if isinstance(second, NoEstimate) else (first, second)


def _last(samples: Saved, saved: str, signal: str) -> Series | NoEstimate:
    found = select(samples, saved, signal)
    return found[-1] if found else unrecorded(signal, saved)


def _mean_difference(criterion: MeanDifference, samples: Saved) -> Found:
    series = both(*(_last(samples, criterion.saved, s) for s in (criterion.first, criterion.second)))
    if isinstance(series, NoEstimate):
        return series
    first, second = series
    looked = both(look_over(first), look_over(second))
    if isinstance(looked, NoEstimate):
        return looked
    if first.unit != second.unit:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.pair-units", "the two signals have different units"))
    pairs = paired(looked[0], looked[1])
    apart = msgspec.structs.replace(
        first,
        signal=f"{criterion.first}-less-{criterion.second}",
        times_s=tuple(pairs.times.tolist()),
        values=tuple((pairs.first - pairs.second).tolist()),
        resolution=math.hypot(first.resolution, second.resolution),
        accuracy=math.hypot(first.accuracy, second.accuracy),
        gaps=max(first.gaps, second.gaps),
    )
    window = steady_window(wish(criterion, noisy=False), apart, samples)
    return window if isinstance(window, NoEstimate) else wild(window) or mean_of(window)


def _change(criterion: Change, samples: Saved) -> Found:
    means = both(
        steady_mean(wish(criterion, noisy=False, saved=criterion.before), criterion.signal, samples),
        steady_mean(wish(criterion, noisy=False), criterion.signal, samples),
    )
    found = means if isinstance(means, NoEstimate) else difference(means[0], means[1])
    if isinstance(found, Estimate) and found.unit == "°C":
        return msgspec.structs.replace(found, unit="K")
    return found


def _course(criterion: Rate | LevelAfter, samples: Saved) -> Found:
    series = _last(samples, criterion.saved, criterion.signal)
    if isinstance(series, NoEstimate):
        return series
    if isinstance(criterion, LevelAfter):
        return level_after(series, criterion.minutes)
    course = time_to_limit(series, 0.0)
    return course.rate if isinstance(course, TimeToLimit) else course


def _sudden(criterion: Dip | Recovery, samples: Saved) -> Found:
    series = both(*(_last(samples, criterion.saved, s) for s in (criterion.signal, criterion.moment.signal)))
    if isinstance(series, NoEstimate):
        return series
    when = find_moment(criterion.moment, series[1])
    if isinstance(when, NoEstimate):
        return when
    found = transient(
        series[0],
        when.earliest_s,
        level=criterion.level,
        band=criterion.band,
        before_s=criterion.before_s,
        after_s=criterion.after_s,
        u_at_s=when.latest_s - when.earliest_s,
    )
    if isinstance(found, NoEstimate):
        return _not_back(criterion, found) if isinstance(criterion, Recovery) else found
    return found.dip if isinstance(criterion, Dip) else found.back


def _not_back(criterion: Recovery, none: NoEstimate) -> Found:
    """Not back within all that was recorded is an answer when that is clearly longer than the limit."""
    limits, window = criterion.limits, none.window_s
    if none.reasons != (Reason.TIME_OUT,) or limits.high is None or limits.unit != "s" or window is None:
        return none
    lasted = window[1] - window[0]
    u = lasted / max(none.n - 1, 1) / math.sqrt(3.0)
    note = say("proof.at-least", "not back when the recording ended: it took at least this long")
    if lasted <= limits.high + 2.0 * u:
        return none
    return Estimate(lasted, u, "s", none.n, float(none.n), window, {"step": u}, (note,))


def _supply(criterion: SupplySag | SupplyRipple, samples: Saved) -> Found:
    series = _last(samples, criterion.saved, criterion.signal)
    if isinstance(series, NoEstimate):
        return series
    if isinstance(criterion, SupplyRipple):
        return ripple(series)
    without = _last(samples, criterion.before, criterion.signal)
    return without if isinstance(without, NoEstimate) else sag_between(without, series)


def _steering(criterion: SteeringStraight, samples: Saved) -> Found:
    offsets = list[Straight]()
    for saved in (criterion.saved, criterion.back):
        one = [_last(samples, saved, s) for s in (criterion.angle, criterion.yaw, criterion.speed)]
        for series in one:
            if isinstance(series, NoEstimate):
                return series
        angle, yaw, speed = (s for s in one if isinstance(s, Series))
        found = straight_offset(angle, yaw, speed, u_yaw=criterion.u_yaw, degrees_per_yaw=criterion.degrees_per_yaw)
        if isinstance(found, NoEstimate):
            return found
        offsets.append(found)
    return both_directions(offsets[0], offsets[1])


def _headings(criterion: TwoHeadingsOf, samples: Saved) -> Found:
    still = Stillness(criterion.most_sd, criterion.most_trend)
    zeros = list[Estimate]()
    for saved in (criterion.saved, criterion.back):
        series = _last(samples, saved, criterion.signal)
        found = series if isinstance(series, NoEstimate) else zero_at_rest(series, still)
        if isinstance(found, NoEstimate):
            return found
        zeros.append(found)
    both = two_headings(zeros[0], zeros[1], criterion.marks_deg)
    if not isinstance(both, TwoHeadings):
        return both
    if criterion.part == "bias":
        return both.bias
    return slope_degrees(both.slope) if criterion.limits.unit == "°" else both.slope


def _learned(criterion: LearnedRoom | LearnedRepeat, samples: Saved) -> Found:
    read = select(samples, criterion.saved, criterion.signal)
    if not read:
        return unrecorded(criterion.signal, criterion.saved)
    looked = [look_over(s) for s in read]
    for one in looked:
        if isinstance(one, NoEstimate):
            return one
    u = max(s.resolution for s in read) / math.sqrt(12.0)
    if isinstance(criterion, LearnedRoom):
        series = read[-1]
        u = math.hypot(u, series.accuracy / math.sqrt(3.0))
        return room_to_end(series.values[-1], u, criterion.window[0], criterion.window[1])
    if len(read) < criterion.cycles:
        template = "{n} key cycles recorded, {cycles} are needed"
        message = say("proof.few-cycles", template, n=len(read), cycles=criterion.cycles)
        return NoEstimate((Reason.TOO_FEW,), message, len(read))
    if len({s.unit for s in read}) > 1:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.units", "the recordings have different units"))
    return same_again(tuple(s.values[-1] for s in read), u, read[0].unit)


def _cold(criterion: ColdAgreement, samples: Saved) -> Found:
    means = list[Estimate]()
    for signal in criterion.signals:
        series = _last(samples, criterion.saved, signal)
        one = series if isinstance(series, NoEstimate) else mean(series)
        if isinstance(one, NoEstimate):
            return one
        means.append(_in_kelvin(one))
    return cold_agreement(tuple(means))


def _in_kelvin(one: Estimate) -> Estimate:
    value = convert(one.value, one.unit, "K")
    factor = convert(one.value + 1.0, one.unit, "K") - value
    parts = {name: part * factor for name, part in one.parts.items()}
    return msgspec.structs.replace(one, value=value, u=one.u * factor, parts=parts, unit="K")
