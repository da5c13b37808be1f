"""Why a thing stands at its place in the plan: the rule that puts it there, or the minutes that moving it costs."""

from __future__ import annotations

from asleft.model.message import Message, say

from .order import cost_of, moved
from .planned import Planned


def why_here(planned: Planned, place: int) -> Message:
    """The binding reason: the rule to what stands just before it or just after it, else the minutes."""
    order = planned.solution.order
    if (wait := planned.solution.placed[place].wait_min) > 0:
        lags = (lag for lag in planned.problem.lags if lag.after == order[place] and lag.least_min > 0)
        why = next((lag.why for lag in lags), "")
        return say("plan.wait", "after waiting {minutes} min: {why}", minutes=f"{wait:g}", why=why)
    task, rank = order[place], {t: n for n, t in enumerate(order)}
    extra = cheapest_elsewhere(planned, place)
    first = max(
        (rule for rule in planned.rules if rule.after == task),
        key=lambda rule: (rank[rule.before], rule.hard),
        default=None,
    )
    then = min(
        (rule for rule in planned.rules if rule.before == task),
        key=lambda rule: (rank[rule.after], not rule.hard),
        default=None,
    )
    near = then is not None and rank[then.after] == place + 1
    if first is not None and (not near or rank[first.before] == place - 1):
        other = planned.nodes[first.before].words
        told = say("plan.after", "after {before}: {why}", before=other, why=first.edge.why)
    elif then is not None:
        told = say("plan.before", "before {after}: {why}", after=planned.nodes[then.after].words, why=then.edge.why)
    elif extra is None:
        return say("plan.only", "nothing else is to be done")
    else:
        return _minutes(extra)
    return told if extra is None or extra[0] <= 0 else _with_minutes(told, extra)


def cheapest_elsewhere(planned: Planned, place: int) -> tuple[float, float] | None:
    """What the cheapest other allowed place would add, (active, elapsed) min; None when no other is allowed."""
    best = planned.solution
    found: list[tuple[float, float]] = []
    for to in range(len(best.order)):
        if to != place:
            other = cost_of(planned.problem, planned.network, tuple(moved(best.order, place, to)))
            if other is not None:
                found.append((other.active_min - best.active_min, other.elapsed_min - best.elapsed_min))
    return min(found, default=None)


def _minutes(extra: tuple[float, float]) -> Message:
    if extra > (0.0, 0.0):
        return say(
            "plan.minutes",
            "at any other place: {active} min more work, {elapsed} min more on the clock",
            active=f"{extra[0]:g}",
            elapsed=f"{extra[1]:g}",
        )
    return say("plan.free", "no rule and no minutes bind it here; another place is as good")


def _with_minutes(told: Message, extra: tuple[float, float]) -> Message:
    values = {**told.values, "active": f"{extra[0]:g}"}
    return Message(f"{told.id}.minutes", told.template + "; elsewhere {active} min more work", values)
