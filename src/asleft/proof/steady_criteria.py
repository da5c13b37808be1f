"""Criteria on a steady window of an idling engine: mean, spread, rhythm, trims, flow area."""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, Reason

from .correlated import mean_uncertainty
from .criterion_data import FlowArea, IdleHunting, IdleMean, IdleSpread, TrimSum
from .estimate import Estimate, NoEstimate
from .flow import flow_area
from .hunting import Hunting, hunting
from .samples import Samples, cut, frozen, look_over, wild
from .saved import Saved, decide_for, select, unrecorded
from .steady import mean_of, spread_of
from .window import Gate, find_steady_window


@dataclass(frozen=True)
class _Wish:
    """Which window is wanted."""

    saved: str
    gates: tuple[Gate, ...]
    seconds: float
    max_drift: float
    noisy: bool


def judge_idle(criterion: IdleMean | IdleSpread | IdleHunting, samples: Saved) -> Judgement:
    """Mean, spread or rhythm of idle speed."""
    series = select(samples, criterion.saved, criterion.signal)
    if not series:
        return decide_for(criterion, unrecorded(criterion.signal, criterion.saved), (), samples)
    window = _steady(_wish(criterion, noisy=True), series[-1], samples)
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
        window = _steady(_wish(criterion, noisy=False), total, samples)
        total = window if isinstance(window, NoEstimate) else mean_of(window)
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


def judge_flow_area(criterion: FlowArea, samples: Saved) -> Judgement:
    """Total effective flow area from one steady window of all its signals."""
    needed = (criterion.flow, criterion.barometer, criterion.intake, criterion.manifold)
    found = {signal: select(samples, criterion.saved, signal) for signal in needed}
    for signal, series in found.items():
        if not series:
            return decide_for(criterion, unrecorded(signal, criterion.saved), (), samples)
    flow = found[criterion.flow][-1]
    window = _steady(_wish(criterion, noisy=True), flow, samples)
    if isinstance(window, NoEstimate):
        return decide_for(criterion, window, (flow,), samples)
    means = list[Estimate]()
    for signal in needed:
        looked = look_over(found[signal][-1])
        one = looked if isinstance(looked, NoEstimate) else mean_of(cut(looked, window.window_s))
        if isinstance(one, NoEstimate):
            return decide_for(criterion, one, (flow,), samples)
        means.append(one)
    return decide_for(criterion, flow_area(means[0], means[1], means[2], means[3]), (), samples)


def _wish(criterion: IdleMean | IdleSpread | IdleHunting | TrimSum | FlowArea, *, noisy: bool) -> _Wish:
    return _Wish(criterion.saved, criterion.gates, criterion.seconds, criterion.max_drift, noisy)


def _steady(wish: _Wish, series: Series, samples: Saved) -> Samples | NoEstimate:
    """The steady window of a series, if there is one and nothing drifts in it."""
    looked = look_over(series)
    if isinstance(looked, NoEstimate):
        return looked
    others = {g.signal: found[-1] for g in wish.gates if (found := select(samples, wish.saved, g.signal))}
    window = find_steady_window(series, others, wish.gates, wish.seconds)
    if isinstance(window, NoEstimate):
        return window
    part = cut(looked, window.as_tuple)
    dead = frozen(part) if wish.noisy else None
    if dead is not None:
        return dead
    return _drift(part, wish.max_drift) or part


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
