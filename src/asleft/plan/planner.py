"""From needs to the plan: the best order with its proof, its minutes, and why each thing stands where it does. Pure.

Use::

    plan = make_plan(needs, timings={"throttle-stop-learn": Timing("koeo", 5, 5)}, given=("idle-relearn", ...))
    plan.active_min, plan.given_active_min, [step.why.text for step in plan.steps]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from asleft.book.edges import ORDER_EDGES, OrderEdge
from asleft.book.procedure import Procedure
from asleft.model.work import Grade, Need, Plan, PlanStep

from .graph import Timing, nodes_for, rules_between
from .order import Placed, Solution
from .planned import Planned
from .states import CarState, Network
from .why import why_here


def make_plan(
    needs: Sequence[Need],
    timings: Mapping[str, Timing] | None = None,
    *,
    edges: Iterable[OrderEdge] = ORDER_EDGES,
    start: CarState | None = None,
    given: Sequence[str] | None = None,
    network: Network | None = None,
    key_cycles: int = 2,
) -> Plan:
    """The needs' procedures in the best order, with the planned clear, the key cycles and the as-left picture.

    Args:
        needs: those graded *required* are planned; pass advisable ones as required once somebody wants them.
        timings: state and minutes by function, from the procedures.
        edges: order rules; the procedures' own at the end.
        start: where the car stands; from the repair: bay, cold, engine off.
        given: functions in the order somebody had in mind; the needs' own order when None.
    Raises: InputError: plan-cycle, state-unreachable, cost-missing.
    """
    wanted = tuple(need for need in needs if need.grade is Grade.REQUIRED)
    planned = work_out(wanted, timings, edges=edges, start=start, network=network, key_cycles=key_cycles)
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
) -> Planned:
    """The problem with its best order, to be asked again (what-if, replanning). Arguments and errors: ``make_plan``."""
    nodes = nodes_for(needs, timings, key_cycles=key_cycles)
    return Planned(nodes, rules_between(nodes, edges), start or CarState(), network or Network())


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
        elapsed_min=placed.route.elapsed_min + node.task.elapsed_min,
        why=why_here(planned, place),
        procedure=node.procedure,
    )
