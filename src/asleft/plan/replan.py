"""A new plan from where the car stands now: after a failure, a skip, rain, or at the end of the day. Pure.

What hangs on something that failed or was left out by a hard rule waits with it, and says so. What needs a place that
is closed today (the road in heavy rain, outdoors) is put off. Nothing is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from asleft.model.message import Message, say
from asleft.model.work import Plan

from .graph import AS_LEFT, CLEAR, CYCLES, Node, Rule
from .order import BEGIN, Lag
from .planned import Planned
from .planner import to_plan
from .states import MOVES, CarState, Move, Network

_LAST = frozenset({CLEAR, CYCLES, AS_LEFT})


class Replanned(msgspec.Struct, frozen=True):
    """The plan for what can be done now, and what waits: task name -> why."""

    plan: Plan
    waiting: dict[str, Message]


def replan(
    planned: Planned,
    now: CarState,
    *,
    done: Iterable[str] = (),
    out: Iterable[str] = (),
    closed: Iterable[str] = (),
    moves: Sequence[Move] = MOVES,
    clock_min: float = 0.0,
    promised_min: float | None = None,
) -> Replanned:
    """Plan what is left.

    Args:
        planned: the plan that was being carried out. now: where the car stands.
        done: task names that are done. out: names that failed or were skipped, not to be tried now.
        closed: places that cannot be reached today.
        moves: ways between states; those into closed places are left out here.
        clock_min: minutes since the plan began; what was waiting has waited that long. promised_min: from now.
    Raises: InputError: state-unreachable when even the rest cannot be reached from here.
    """
    shut = frozenset(closed)
    network = Network(tuple(m for m in moves if m.sets.get("place") not in shut))
    left = [n for n in range(len(planned.nodes)) if planned.nodes[n].name not in set(done)]
    waiting = _waiting(planned, left, set(out), now, network)
    keep = [n for n in left if planned.nodes[n].name not in waiting]
    nodes = tuple(planned.nodes[n] for n in keep)
    rules = _between(keep, planned.rules)
    lags = _lags(keep, planned.problem.lags, clock_min)
    return Replanned(to_plan(Planned(nodes, rules, now, network, lags, promised_min)), waiting)


def _lags(keep: Sequence[int], lags: Sequence[Lag], clock_min: float) -> tuple[Lag, ...]:
    """Waits between what is left; from the begin, less what has passed. After a task that is done none is left."""
    place = {old: new for new, old in enumerate(keep)}
    left: list[Lag] = []
    for lag in lags:
        if lag.before == BEGIN and lag.after in place:
            least, most = max(0.0, lag.least_min - clock_min), lag.most_min - clock_min
            left.append(Lag(BEGIN, place[lag.after], least, most, lag.why))
        elif lag.before in place and lag.after in place:
            left.append(Lag(place[lag.before], place[lag.after], lag.least_min, lag.most_min, lag.why))
    return tuple(left)


def first_day(planned: Planned, minutes: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Which tasks of the best order end within some minutes on the clock, and which are for another day."""
    clock, today, later = 0.0, list[str](), list[str]()
    for placed in planned.solution.placed:
        node = planned.nodes[placed.task]
        clock += placed.route.elapsed_min + placed.wait_min + node.task.elapsed_min
        (today if clock <= minutes and not later else later).append(node.name)
    return tuple(today), tuple(later)


def over_the_day(planned: Planned, minutes: float) -> Message | None:
    """What to say when the plan is longer than the time that was promised; None when it fits."""
    elapsed = planned.solution.elapsed_min
    if elapsed <= minutes:
        return None
    _, later = first_day(planned, minutes)
    return say(
        "plan.too-long",
        "{over} min longer than the {minutes} min there are; for another day: {later}",
        over=f"{elapsed - minutes:g}",
        minutes=f"{minutes:g}",
        later=", ".join(later),
    )


def _waiting(
    planned: Planned, left: Sequence[int], out: set[str], now: CarState, network: Network
) -> dict[str, Message]:
    waiting: dict[str, Message] = {}
    for n in left:
        node = planned.nodes[n]
        if node.name in out:
            waiting[node.name] = say("replan.out", "failed or left out")
        elif network.cost(now, node.task.wants) is None and node.name not in _LAST:
            waiting[node.name] = say("replan.closed", "{state} cannot be reached today", state=node.state)
    grown = True
    while grown:
        grown = False
        for rule in planned.rules:
            a, b = planned.nodes[rule.before], planned.nodes[rule.after]
            if rule.hard and a.name in waiting and _hangs(b, waiting):
                waiting[b.name] = say("replan.hangs", "waits for {before}: {why}", before=a.words, why=rule.edge.why)
                grown = True
    return waiting


def _hangs(node: Node, waiting: dict[str, Message]) -> bool:
    """The clear, the key cycles and the as-left picture are taken of whatever state the car is left in."""
    return node.name not in waiting and node.name not in _LAST


def _between(keep: Sequence[int], rules: Sequence[Rule]) -> tuple[Rule, ...]:
    place = {old: new for new, old in enumerate(keep)}
    return tuple(Rule(place[r.before], place[r.after], r.edge) for r in rules if r.before in place and r.after in place)
