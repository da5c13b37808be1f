"""Criteria on the air that an idling engine takes: total effective flow area, its change, and leakage."""

from __future__ import annotations

from asleft.model.verdict import Judgement

from .criterion_data import FlowArea, LeakageChange
from .estimate import Estimate, NoEstimate
from .flow import flow_area, leakage_change, speed_density
from .paired import difference
from .samples import cut, look_over
from .saved import Saved, decide_for, select, unrecorded
from .steady import mean_of
from .steady_window import steady_window, wish

Means = dict[str, Estimate]


def judge_flow_area(criterion: FlowArea, samples: Saved) -> Judgement:
    """Total effective flow area from one steady window of all its signals, or its change since earlier ones."""
    now = _area(criterion, criterion.saved, samples)
    if criterion.before and isinstance(now, Estimate):
        earlier = _area(criterion, criterion.before, samples)
        now = earlier if isinstance(earlier, NoEstimate) else difference(earlier, now)
    return decide_for(criterion, now, (), samples)


def judge_leakage(criterion: LeakageChange, samples: Saved) -> Judgement:
    """Change of leakage, where the position of the plate is known finely enough."""
    return decide_for(criterion, _leakage(criterion, samples), (), samples)


def _leakage(criterion: LeakageChange, samples: Saved) -> Estimate | NoEstimate:
    areas, plates = list[Estimate](), list[Estimate]()
    step = 0.0
    for saved in (criterion.before, criterion.saved):
        means = _means(criterion, saved, samples, (*_metered(criterion), criterion.plate))
        if isinstance(means, NoEstimate):
            return means
        flow, barometer, intake, manifold = (means[s] for s in _metered(criterion))
        area = flow_area(flow, barometer, intake, manifold)
        if isinstance(area, NoEstimate):
            return area
        areas.append(area)
        plates.append(means[criterion.plate])
        step = max(step, select(samples, saved, criterion.plate)[-1].resolution)
    change = difference(areas[0], areas[1])
    if isinstance(change, NoEstimate):
        return change
    return leakage_change(change, step, plates[0].value, plates[1].value, criterion.area_per_unit)


def _area(criterion: FlowArea, saved: str, samples: Saved) -> Estimate | NoEstimate:
    by_pressure = criterion.by == "pressure"
    needed = (criterion.speed, *_metered(criterion)[1:]) if by_pressure else _metered(criterion)
    means = _means(criterion, saved, samples, needed)
    if isinstance(means, NoEstimate):
        return means
    barometer, intake, manifold = (means[s] for s in (criterion.barometer, criterion.intake, criterion.manifold))
    if not by_pressure:
        return flow_area(means[criterion.flow], barometer, intake, manifold)
    filling = (criterion.filling, criterion.u_filling)
    flow = speed_density(filling, manifold, criterion.displacement_l, means[criterion.speed], intake)
    return flow_area(flow, barometer, intake, manifold)


def _metered(criterion: FlowArea | LeakageChange) -> tuple[str, str, str, str]:
    return criterion.flow, criterion.barometer, criterion.intake, criterion.manifold


def _means(
    criterion: FlowArea | LeakageChange, saved: str, samples: Saved, needed: tuple[str, ...]
) -> Means | NoEstimate:
    """Means of all signals over the steady window of the first."""
    found = {signal: select(samples, saved, signal) for signal in needed}
    for signal, series in found.items():
        if not series:
            return unrecorded(signal, saved)
    window = steady_window(wish(criterion, noisy=True, saved=saved), found[needed[0]][-1], samples)
    if isinstance(window, NoEstimate):
        return window
    means: Means = {}
    for signal in needed:
        looked = look_over(found[signal][-1])
        one = looked if isinstance(looked, NoEstimate) else mean_of(cut(looked, window.window_s))
        if isinstance(one, NoEstimate):
            return one
        means[signal] = one
    return means
