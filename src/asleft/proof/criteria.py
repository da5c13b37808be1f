"""From saved recordings to a judgement, criterion by criterion. Pure: the same recordings always judge alike.

A judgement can be computed again by anyone from the recordings in the record.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import assert_never

import msgspec
import numpy as np

from asleft.model.errors import AsleftError
from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.units import convert, convert_difference
from asleft.model.verdict import Judgement, Reason

from .codes import CodesSeen, judge_codes
from .correlated import mean_uncertainty
from .criterion_data import (
    CodeAbsent,
    Criterion,
    IdleMean,
    IdleSpread,
    RestRange,
    TrackingResidual,
    TrackingSlope,
    TrimSum,
)
from .decide import decide
from .estimate import Estimate, NoEstimate
from .rest import rest_range
from .samples import Samples, cut, frozen, look_over
from .steady import mean_of, spread_of
from .tracking import Tracking, tracking
from .window import find_steady_window

Saved = Mapping[str, tuple[Series, ...]]


def judge(criterion: Criterion, samples: Saved, codes: CodesSeen | None = None) -> Judgement:
    """Judge one criterion from what was saved.

    Args: samples: recordings by name, as the record holds them. codes: for criteria on trouble codes.
    """
    match criterion:
        case RestRange():
            rests = select(samples, criterion.saved, criterion.signal)
            found = rest_range(rests, cycles=criterion.cycles, ends=criterion.ends)
            return _decide(criterion, found, rests, samples)
        case TrackingSlope() | TrackingResidual():
            return _tracking(criterion, samples)
        case IdleMean() | IdleSpread():
            return _idle(criterion, samples)
        case TrimSum():
            return _trims(criterion, samples)
        case CodeAbsent():
            return judge_codes(criterion, codes)
        case _:
            assert_never(criterion)


def select(samples: Saved, saved: str, signal: str) -> tuple[Series, ...]:
    """Series of a signal from the recordings of this name or its numbered parts, in order of their numbers."""
    names = [n for n in samples if n == saved or n.startswith(saved + "/")]
    ordered = sorted(names, key=lambda n: [int(p) if p.isdigit() else -1 for p in re.split(r"[/ ]", n)])
    return tuple(s for n in ordered for s in samples[n] if s.signal == signal)


def _tracking(criterion: TrackingSlope | TrackingResidual, samples: Saved) -> Judgement:
    actual, commanded = (select(samples, criterion.saved, s) for s in (criterion.actual, criterion.commanded))
    if not actual or not commanded:
        missing = criterion.commanded if actual else criterion.actual
        return _decide(criterion, _unrecorded(missing, criterion.saved), (), samples)
    found = tracking(actual[-1], commanded[-1], min_span=criterion.min_span, ends=criterion.ends)
    if isinstance(found, Tracking):
        found = found.slope if isinstance(criterion, TrackingSlope) else found.residual
    return _decide(criterion, found, (actual[-1],), samples)


def _idle(criterion: IdleMean | IdleSpread, samples: Saved) -> Judgement:
    series = select(samples, criterion.saved, criterion.signal)
    if not series:
        return _decide(criterion, _unrecorded(criterion.signal, criterion.saved), (), samples)
    window = _steady(criterion, series[-1], samples, noisy=True)
    if isinstance(window, NoEstimate):
        return _decide(criterion, window, series, samples)
    found = mean_of(window) if isinstance(criterion, IdleMean) else spread_of(window)
    return _decide(criterion, found, series, samples)


def _trims(criterion: TrimSum, samples: Saved) -> Judgement:
    short = select(samples, criterion.saved, criterion.short)
    long = select(samples, criterion.saved, criterion.long)
    if not short or not long:
        missing = criterion.long if short else criterion.short
        return _decide(criterion, _unrecorded(missing, criterion.saved), (), samples)
    total = _sum(short[-1], long[-1])
    if isinstance(total, Series):
        window = _steady(criterion, total, samples, noisy=False)
        total = window if isinstance(window, NoEstimate) else mean_of(window)
    return _decide(criterion, total, short, samples)


def _sum(short: Series, long: Series) -> Series | NoEstimate:
    """Both trims added, the long one as last seen at each reading of the short one."""
    a, b = look_over(short), look_over(long)
    if isinstance(a, NoEstimate) or isinstance(b, NoEstimate):
        return a if isinstance(a, NoEstimate) else b if isinstance(b, NoEstimate) else _unrecorded(long.signal, "")
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


def _steady(
    criterion: IdleMean | IdleSpread | TrimSum, series: Series, samples: Saved, *, noisy: bool
) -> Samples | NoEstimate:
    """The steady window of a series, if there is one and nothing drifts in it."""
    looked = look_over(series)
    if isinstance(looked, NoEstimate):
        return looked
    others = {g.signal: found[-1] for g in criterion.gates if (found := select(samples, criterion.saved, g.signal))}
    window = find_steady_window(series, others, criterion.gates, criterion.seconds)
    if isinstance(window, NoEstimate):
        return window
    part = cut(looked, window.as_tuple)
    dead = frozen(part) if noisy else None
    if dead is not None:
        return dead
    return _drift(part, criterion.max_drift) or part


def _drift(part: Samples, most: float) -> NoEstimate | None:
    """Why a window is no steady one: its last third lies further from its first than allowed, and not by chance."""
    third = len(part) // 3
    if third < 3:
        return None
    first, last = part.values[:third], part.values[-third:]
    drift = float(last.mean() - first.mean())
    at = part.times - part.times.mean()
    level = part.values - at * float(at @ part.values) / max(float(at @ at), 1e-12)
    u = math.hypot(mean_uncertainty(level[:third])[0], mean_uncertainty(level[-third:])[0])
    if abs(drift) <= max(most, 2.0 * u):
        return None
    template = "{name} still changed by {drift} within {span}"
    shown = {"drift": show(drift, part.series.unit), "span": show(part.span_s, "s")}
    message = say("proof.drift", template, name=part.series.signal.replace("-", " "), **shown)
    return NoEstimate((Reason.WINDOW,), message, len(part), part.window_s)


def _decide(
    criterion: RestRange | TrackingSlope | TrackingResidual | IdleMean | IdleSpread | TrimSum,
    found: Estimate | NoEstimate,
    used: tuple[Series, ...],
    samples: Saved,
) -> Judgement:
    limits = criterion.limits.limits()
    names = tuple(n for n in samples if n == criterion.saved or n.startswith(criterion.saved + "/"))
    resolution = max((s.resolution for s in used), default=0.0)
    if isinstance(found, Estimate) and found.unit != limits.unit:
        found = _in_unit(found, limits.unit)
        resolution = 0.0
    return decide(criterion.id, criterion.name, found, limits, samples=names, resolution=resolution)


def _in_unit(found: Estimate, unit: str) -> Estimate | NoEstimate:
    """An estimate in the limits' unit."""
    try:
        value = convert(found.value, found.unit, unit)
        u = convert_difference(found.u, found.unit, unit)
        parts = {name: convert_difference(part, found.unit, unit) for name, part in found.parts.items()}
    except AsleftError:
        template = "it is measured in {unit}, the limit is in {limit}"
        message = say("proof.limit-unit", template, unit=found.unit, limit=unit)
        return NoEstimate((Reason.CONTRADICTION,), message, found.n, found.window_s)
    return msgspec.structs.replace(found, value=value, u=u, parts=parts, unit=unit)


def _unrecorded(signal: str, saved: str) -> NoEstimate:
    template = "{name} was not recorded in {saved}"
    return NoEstimate(
        (Reason.UNSUPPORTED,), say("proof.unrecorded", template, name=signal.replace("-", " "), saved=saved)
    )
