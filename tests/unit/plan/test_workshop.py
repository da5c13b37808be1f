"""The workshop's own minutes, chances and waits; work inside the plan; promised time; learned values at a limit."""

from __future__ import annotations

import pytest

from asleft.book.files import ProcedureError
from asleft.book.functions import FUNCTIONS
from asleft.model.errors import Code, InputError
from asleft.model.module import Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.reading import Reading
from asleft.model.work import Grade, Need, WorkItem
from asleft.plan.needs import find_needs
from asleft.plan.planned import Planned
from asleft.plan.planner import Bounds, to_plan, work_out
from asleft.plan.replan import replan
from asleft.plan.states import CarState
from asleft.plan.workshop import read_workshop
from kit.plan_check import check

SHOP = b"""
moves:
  - {name: onto the lift, active: 9, elapsed: 10}
functions:
  - {name: idle-relearn, state: warm-idle, active: 15, elapsed: 18, fails: 0.2}
waits:
  - {until: adhesive-cured, minutes: 240}
  - {after: brake-pressure-zero, before: yaw-accel-zero, least: 2, most: 60, why: the zero drifts}
"""


def wanted(*functions: str) -> list[Need]:
    return [Need(f, FUNCTIONS[f].name, Grade.REQUIRED, ()) for f in functions]


def names(plan: Planned) -> list[str]:
    return [plan.nodes[n].name for n in plan.solution.order]


def test_a_workshops_minutes_replace_the_starting_values() -> None:
    shop = read_workshop(SHOP, "shop.yaml")
    plan = work_out(wanted("idle-relearn", "abs-bleed"), bounds=Bounds(shop))
    usual = work_out(wanted("idle-relearn", "abs-bleed"))
    assert plan.solution.active_min == usual.solution.active_min + (15 - 12) + (9 - 6)
    assert {n.name: n.task.fails for n in plan.nodes}["idle-relearn"] == 0.2


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        (b"moves:\n  - {name: onto the lft, active: 9, elapsed: 9}\n", "shop.yaml:2", "onto the lift"),
        (b"moves:\n  - {name: onto the lift, active: 9}\n", "shop.yaml:2", "elapsed"),
        (b"moves:\n  - {name: onto the lift, active: -1, elapsed: 9}\n", "shop.yaml:2", "from 0 up"),
        (
            b"functions:\n  - {name: idle-relearn, state: warm-idel, active: 1, elapsed: 1}\n",
            "shop.yaml:2",
            "warm-idle",
        ),
        (b"functions:\n  - {name: idle-relearn, state: koeo, active: 9, elapsed: 1}\n", "shop.yaml:2", "at least the"),
        (
            b"functions:\n  - {name: idle-relearn, state: koeo, active: 1, elapsed: 1, fails: 2}\n",
            "shop.yaml:2",
            "0 to 1",
        ),
        (b"waits:\n  - {after: sas-zero, before: yaw-accel-zero, least: 9, most: 1}\n", "shop.yaml:2", "no more than"),
        (b"movs: []\n", "shop.yaml:1", "moves"),
    ],
)
def test_a_bad_file_is_told_with_line_field_and_what_instead(text: bytes, place: str, said: str) -> None:
    with pytest.raises(ProcedureError) as caught:
        read_workshop(text, "shop.yaml")
    remark = caught.value.remarks[0]
    assert remark.place == place
    assert said in remark.rest


def test_curing_waits_beside_other_work_and_says_why() -> None:
    bounds = Bounds(read_workshop(SHOP, "shop.yaml"), waits=("adhesive-cured",))
    plan = work_out(wanted("camera-aim-static", "rain-light-sensor", "park-sensor"), bounds=bounds)
    check(plan.problem, plan.solution)
    camera = names(plan).index("camera-aim-static")
    begin = sum(
        p.route.elapsed_min + p.wait_min + plan.nodes[p.task].task.elapsed_min for p in plan.solution.placed[:camera]
    )
    here = plan.solution.placed[camera]
    assert begin + here.route.elapsed_min + here.wait_min == 240
    assert "glass may move" in to_plan(plan).steps[camera].why.text


def test_what_waited_has_waited_when_the_plan_is_made_anew() -> None:
    bounds = Bounds(read_workshop(SHOP, "shop.yaml"), waits=("adhesive-cured",))
    plan = work_out(wanted("camera-aim-static"), bounds=bounds)
    again = replan(plan, CarState(), clock_min=240)
    assert again.plan.elapsed_min < plan.solution.elapsed_min - 150


def test_wheel_alignment_is_work_inside_the_plan() -> None:
    found = find_needs((WorkItem("steering-rack", "steering rack replaced"),))
    assert "wheel-alignment" in found.points
    needed = [n for n in found.needs if n.grade is Grade.REQUIRED]
    plan = work_out(needed, bounds=Bounds(inside=("wheel-alignment",)))
    order = names(plan)
    assert order.index("wheel-alignment") < order.index("sas-zero")
    assert plan.given([n.function for n in needed]) is not None


def test_a_promise_that_cannot_be_kept_says_how_late() -> None:
    free = work_out(wanted("idle-relearn", "fuel-trim-reset"))
    late = work_out(wanted("idle-relearn", "fuel-trim-reset"), bounds=Bounds(promised_min=30))
    assert free.solution.cost.late_min == 0
    assert late.solution.cost.late_min == pytest.approx(late.solution.elapsed_min - 30)


def test_what_expires_and_cannot_be_kept_is_named() -> None:
    shop = read_workshop(b"waits:\n  - {after: hv-isolation, before: idle-relearn, most: 1}\n", "shop.yaml")
    with pytest.raises(InputError, match="idle relearn") as caught:
        work_out(wanted("hv-isolation", "idle-relearn"), bounds=Bounds(shop))
    assert caught.value.code is Code.STATE_UNREACHABLE


@pytest.mark.parametrize(("value", "notes"), [(24.0, 1), (-22.0, 1), (8.0, 0)])
def test_learned_trim_at_its_limit_is_a_finding(value: float, notes: int) -> None:
    reading = Reading("long-term-trim-1", value, "%", 0.0, 0.0, Origin.BENCH)
    found = find_needs((), (Picture(PictureKind.AS_FOUND, 0.0, 1.0, (), (reading,)),))
    assert len(found.notes) == notes
    assert [n.function for n in found.needs] == ["fuel-trim-reset"] * notes
    if value == 24.0:
        assert "air leak" in found.notes[0].text
