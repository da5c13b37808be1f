"""A function in parts is carried out by its one procedure; its other parts are never dropped in silence."""

from __future__ import annotations

from asleft.job.parts import later_parts, to_carry_out, whole_of
from asleft.model.message import say
from asleft.model.work import Grade, Need, Plan, PlanStep

WHY = say("test.why", "why")


def step(function: str, procedure: str = "p") -> PlanStep:
    return PlanStep(
        function, function, "koeo", move_min=0.0, work_min=1.0, elapsed_min=1.0, why=WHY, procedure=procedure
    )


def need(function: str, grade: Grade = Grade.REQUIRED) -> Need:
    return Need(function, function, grade, (), "")


STEPS = (step("a"), step("b/still"), step("planned-clear"), step("b/road"))
PLAN = Plan(STEPS, active_min=4.0, elapsed_min=4.0, given_active_min=None, proven=True)


def test_a_part_is_found_by_its_function() -> None:
    found = to_carry_out(PLAN, (need("a"), need("b")))
    assert [s.function for s in found] == ["a", "b"]
    assert [s.function for s in later_parts(PLAN, (need("a"), need("b")))] == ["b/road"]


def test_no_needed_step_is_lost() -> None:
    needs = (need("a"), need("b"))
    both = (*to_carry_out(PLAN, needs), *later_parts(PLAN, needs))
    assert {whole_of(s.function) for s in PLAN.steps} - {"planned-clear"} == {whole_of(s.function) for s in both}


def test_what_is_not_needed_and_the_steps_of_the_plan_itself_stay_out() -> None:
    assert to_carry_out(PLAN, (need("a", Grade.NOT_NEEDED), need("b"))) == to_carry_out(PLAN, (need("b"),))
    assert to_carry_out(None, (need("a"),)) == later_parts(None, (need("a"),)) == ()
