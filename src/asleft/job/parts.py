"""Functions that the plan carries out in parts: the book's procedure is found by the function, a step names a part."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from asleft.model.work import Grade, Need, Plan, PlanStep


def whole_of(function: str) -> str:
    """The function of a step: ``trans-learn`` of ``trans-learn/road``."""
    return function.partition("/")[0]


def to_carry_out(plan: Plan | None, needs: Iterable[Need]) -> tuple[PlanStep, ...]:
    """Steps of the plan for what is needed, in its order; of a function in parts the first, under the whole's name."""
    seen = set[str]()
    found = list[PlanStep]()
    for step in _needed(plan, needs):
        whole = whole_of(step.function)
        if whole not in seen:
            found.append(msgspec.structs.replace(step, function=whole))
        seen.add(whole)
    return tuple(found)


def later_parts(plan: Plan | None, needs: Iterable[Need]) -> tuple[PlanStep, ...]:
    """The other parts: the book's procedure was carried out for the first one, once."""
    seen = set[str]()
    found = list[PlanStep]()
    for step in _needed(plan, needs):
        whole = whole_of(step.function)
        if whole in seen:
            found.append(step)
        seen.add(whole)
    return tuple(found)


def _needed(plan: Plan | None, needs: Iterable[Need]) -> tuple[PlanStep, ...]:
    wanted = {need.function for need in needs if need.grade is not Grade.NOT_NEEDED}
    return tuple(step for step in plan.steps if whole_of(step.function) in wanted) if plan is not None else ()
