"""From needs to the plan: the best order with its proof, its minutes, and why each thing stands where it does. Pure.

Use::

    plan = make_plan(needs, timings={"throttle-stop-learn": Timing("koeo", 5, 5)}, given=("idle-relearn", ...))
    plan.active_min, plan.given_active_min, [step.why.text for step in plan.steps]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from asleft.book.edges import ORDER_EDGES, OrderEdge
from asleft.book.procedure import Procedure
from asleft.model.work import Grade, Need, Plan, PlanStep

from .graph import Timing, nodes_for, rules_between, waits_between
from .order import Left, Placed, Solution
from .planned import Planned
from .states import CarState, Network
from .why import why_here
from .workshop import FAILS, INSIDE, Workshop


class Bounds(msgspec.Struct, frozen=True):
    """What a plan is bound by beside needs and rules.

    Attributes:
        workshop: its minutes, chances and waits. inside: work inside the plan. waits: points that come by waiting.
        promised_min: calendar minutes until the car was promised. left: seconds left to think.
    """

    workshop: Workshop = Workshop()
    inside: tuple[str, ...] = ()
    waits: tuple[str, ...] = ()
    promised_min: float | None = None
    left: Left | None = None


def make_plan(
    needs: Sequence[Need],
    timings: Mapping[str, Timing] | None = None,
    *,
    edges: Iterable[OrderEdge] = ORDER_EDGES,
    start: CarState | None = None,
    given: Sequence[str] | None = None,
    network: Network | None = None,
    key_cycles: int = 2,
    bounds: Bounds | None = None,
) -> Plan:
    """The needs' procedures in the best order, with the planned clear, the key cycles and the as-left picture.

    Args:
        needs: those graded *required* are planned; pass advisable ones as required once somebody wants them.
        timings: state and minutes by function, from the procedures.
        edges: order rules; the procedures' own at the end.
        start: where the car stands; from the repair: bay, cold, engine off.
        given: functions in the order somebody had in mind; the needs' own order when None.
        bounds: the workshop's minutes, waits, work inside the plan, promised time, time to think.
    Raises: InputError: plan-cycle, state-unreachable, cost-missing.
    """
    wanted = tuple(need for need in needs if need.grade is Grade.REQUIRED)
    planned = work_out(wanted, timings, edges=edges, start=start, network=network, key_cycles=key_cycles, bounds=bounds)
    as_given = planned.given(given if given is not None else tuple(need.function for need in wanted))
    return to_plan(planned, as_given)


def work_out(
    needs: Sequence[Need],
    timings: Mapping[str, Timing] | None = None,
    *,
    edges: Iterable[OrderEdge] = ORDER_EDGES,
    start: CarState | None = None,
    network: Network | None = None,
    key_cycles: int = 2,
    bounds: Bounds | None = None,
) -> Planned:
    """The problem with its best order, to be asked again (what-if, replanning). Arguments and errors: ``make_plan``."""
    bounds = bounds or Bounds()
    shop, rules = bounds.workshop, tuple(edges)
    inside = {name: INSIDE[name] for name in bounds.inside}
    times = {**{name: timing for name, (_, timing) in inside.items()}, **(timings or {}), **shop.timings}
    fails = {**{need.function: FAILS for need in needs}, **shop.fails}
    work = tuple(Need(name, words, Grade.REQUIRED, ()) for name, (words, _) in inside.items())
    nodes = nodes_for((*work, *needs), times, key_cycles=key_cycles, fails=fails)
    lags = waits_between(nodes, rules, {p: shop.waits[p] for p in bounds.waits if p in shop.waits}, shop.between)
    network = network or Network(shop.moves)
    start = start or CarState()
    return Planned(nodes, rules_between(nodes, rules), start, network, lags, bounds.promised_min, bounds.left)


def to_plan(planned: Planned, as_given: Solution | None = None) -> Plan:
    """The best order as the value that events carry."""
    best = planned.solution
    return Plan(
        steps=_steps(planned),
        active_min=best.active_min,
        elapsed_min=best.elapsed_min,
        given_active_min=as_given.active_min if as_given else None,
        proven=best.proven,
    )


def timing_of(procedure: Procedure) -> Timing | None:
    """State and minutes of a procedure; None when it does not give both."""
    if procedure.minutes is None or not procedure.state:
        return None
    return Timing(procedure.state, procedure.minutes.active, procedure.minutes.elapsed)


def _steps(planned: Planned) -> tuple[PlanStep, ...]:
    return tuple(_step(planned, place, placed) for place, placed in enumerate(planned.solution.placed))


def _step(planned: Planned, place: int, placed: Placed) -> PlanStep:
    node = planned.nodes[placed.task]
    return PlanStep(
        function=node.name,
        name=node.words,
        state=node.state,
        move_min=placed.route.active_min,
        work_min=node.task.active_min,
        elapsed_min=placed.route.elapsed_min + placed.wait_min + node.task.elapsed_min,
        why=why_here(planned, place),
        procedure=node.procedure,
    )
