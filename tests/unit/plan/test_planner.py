"""The plan: best order, minutes, reasons, overrides, and plans that cannot be made."""

from __future__ import annotations

import pytest

from asleft.book.edges import ORDER_EDGES, POINTS, EdgeKind, OrderEdge
from asleft.book.functions import FUNCTIONS
from asleft.book.shelf import OWN_FOLDER, load_book
from asleft.model.errors import Code, InputError
from asleft.model.work import Grade, Need, Plan
from asleft.plan.graph import Timing, nodes_for, rules_between
from asleft.plan.order import cycle_in
from asleft.plan.planner import make_plan, timing_of
from asleft.plan.states import CarState, Move, Network


def wanted(*functions: str) -> list[Need]:
    return [Need(f, FUNCTIONS[f].name if f in FUNCTIONS else f, Grade.REQUIRED, ()) for f in functions]


def order(plan: Plan) -> list[str]:
    return [s.function for s in plan.steps]


def test_the_demo_job() -> None:
    """By hand: stop learn 5, start 1 and warm up 2, idle 12, clear 3, two key cycles 2, as left 5: 30 min of work.

    On the clock: 5 + 1 + 12 + 12 + 0.5 (engine off) + 3 + 2 + 5 = 40.5 min. Common practice, no source.
    """
    plan = make_plan(wanted("throttle-stop-learn", "idle-relearn"), {"throttle-stop-learn": Timing("koeo", 5, 5)})
    assert order(plan) == ["throttle-stop-learn", "idle-relearn", "planned-clear", "key-cycles", "as-left"]
    assert (plan.active_min, plan.elapsed_min) == (30, 40.5)
    assert plan.given_active_min == 30
    assert plan.proven
    assert "idle opening is counted from the stop" in plan.steps[1].why.text


def test_the_engine_is_warmed_once() -> None:
    """Given: warm, cold, warm. Best: all cold ones first; the second warm-up is saved."""
    given = ("cam-phaser-learn", "evap-service-test", "idle-relearn")
    plan = make_plan(wanted("cam-phaser-learn", "evap-service-test", "idle-relearn"), given=given)
    assert order(plan)[0] == "evap-service-test/cold"
    assert plan.given_active_min is None  # a cold test after a warm one breaks a hard rule


def test_lift_and_floor_are_visited_once() -> None:
    functions = ("throttle-stop-learn", "epb-service-position", "idle-relearn", "abs-bleed", "brake-pressure-zero")
    plan = make_plan(wanted(*functions), given=functions)
    places = [s.function for s in plan.steps if s.state == "on-lift"]
    first = order(plan).index(places[0])
    assert order(plan)[first : first + 2] == ["epb-service-position/close", "abs-bleed"]
    assert plan.given_active_min is not None
    assert plan.given_active_min > plan.active_min


def test_a_given_order_that_breaks_a_hard_rule_has_no_minutes() -> None:
    plan = make_plan(wanted("throttle-stop-learn", "idle-relearn"), given=("idle-relearn", "throttle-stop-learn"))
    assert plan.given_active_min is None


def test_only_required_needs_are_planned() -> None:
    advisable = Need("idle-relearn", "idle relearn", Grade.ADVISABLE, ())
    assert "idle-relearn" not in order(make_plan([advisable]))


def test_a_procedure_may_turn_or_drop_a_rule() -> None:
    turned = OrderEdge("eps-torque-zero", "sas-zero", EdgeKind.HARD, "this rack learns its end stops first", "page 9")
    plan = make_plan(wanted("sas-zero", "eps-torque-zero"), edges=(*ORDER_EDGES, turned))
    assert order(plan)[:2] == ["eps-torque-zero", "sas-zero"]
    dropped = OrderEdge("planned-clear", "trans-learn/road", EdgeKind.DROPPED, "the clear wipes what was learned")
    assert make_plan(wanted("trans-learn"), edges=(*ORDER_EDGES, dropped)).proven


def test_contradicting_rules_are_named() -> None:
    wrong = OrderEdge("fuel-trim-reset", "throttle-stop-learn", EdgeKind.HARD, "made up")
    with pytest.raises(InputError) as caught:
        make_plan(wanted("throttle-stop-learn", "idle-relearn", "fuel-trim-reset"), edges=(*ORDER_EDGES, wrong))
    assert caught.value.code is Code.PLAN_CYCLE
    for name in ("throttle-stop-learn before idle-relearn", "before throttle-stop-learn (made up)"):
        assert name in caught.value.detail


def test_a_state_without_a_way_is_named() -> None:
    with pytest.raises(InputError, match="target-bay cannot be reached") as caught:
        make_plan(wanted("camera-aim-static"), network=Network(()))
    assert caught.value.code is Code.STATE_UNREACHABLE


def test_missing_minutes_are_asked_for_never_zero() -> None:
    with pytest.raises(InputError) as caught:
        make_plan(wanted("our-own-function"))
    assert caught.value.code is Code.COST_MISSING
    plan = make_plan(wanted("our-own-function"), {"our-own-function": Timing("koeo", 7, 7)})
    assert plan.steps[0].work_min == 7
    with pytest.raises(InputError):
        make_plan(wanted("our-own-function"), {"our-own-function": Timing("upside-down", 7, 7)})


def test_nothing_to_do_still_ends_properly() -> None:
    assert order(make_plan([])) == ["planned-clear", "key-cycles", "as-left"]


def test_start_state_counts() -> None:
    warm = CarState("running", "warm")
    assert make_plan(wanted("idle-relearn"), start=warm).active_min < make_plan(wanted("idle-relearn")).active_min


def test_minutes_of_a_procedure() -> None:
    procedure = load_book(OWN_FOLDER).procedure("throttle-stop-learn-aldra").procedure
    assert timing_of(procedure) == Timing("koeo", 5, 5)


def test_all_functions_together_are_acyclic() -> None:
    """The order rules of the trade with all groups expanded have no cycle."""
    nodes = nodes_for(wanted(*FUNCTIONS))
    rules = rules_between(nodes)
    assert not cycle_in(len(nodes), frozenset((r.before, r.after) for r in rules))
    for function in ("crank-tooth-learn", "evap-service-test", "radar-aim", "injector-qty-adapt"):
        for part in FUNCTIONS[function].parts:
            rules_between(nodes_for(wanted(*FUNCTIONS), forms={function: part.name}))


def test_every_name_in_the_rules_is_known() -> None:
    parts = {f"{f.slug}/{p.name}" for f in FUNCTIONS.values() for p in f.parts if p.name}
    known = set(FUNCTIONS) | parts | set(POINTS)
    assert {name for e in ORDER_EDGES for name in (e.before, e.after)} <= known


def test_the_workshop_edits_costs() -> None:
    slow = Move("warm up", {"engine": ("running",), "heat": ("cold",)}, {"heat": "warm"}, 9, 30)
    start = Move("start", {"engine": ("off",)}, {"engine": "running"}, 1, 1)
    stop = Move("stop", {"engine": ("running",)}, {"engine": "off"}, 0, 0)
    plan = make_plan(wanted("idle-relearn"), network=Network((slow, start, stop)))
    assert plan.steps[0].move_min == 10
