"""The course of a plan: what of it has begun, and another order that a person chooses for the rest.

The plan's rules are asked again for the order chosen: what forbids it is refused with its reason, what only costs
rework is written down with the name of whoever wanted it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import msgspec

from asleft.event.body import OrderChosen
from asleft.event.fold import JobState
from asleft.model.errors import Code, InputError
from asleft.model.message import say
from asleft.model.work import Plan, PlanStep

from .moving import Tried, try_order

#: Longest reason, characters.
LONGEST_REASON = 200


@dataclass
class Course:
    """What of a plan this process has begun, in order; a run of it may not have started yet."""

    begun: list[str] = field(default_factory=list[str])

    def begin(self, function: str) -> None:
        """This is worked on from now."""
        if function not in self.begun:
            self.begun.append(function)


def begun_in(state: JobState, course: Course) -> tuple[str, ...]:
    """Functions of the plan that have begun or were left open, in the plan's order: they keep their places."""
    begun = {run.started.function for run in state.runs.values()} | set(state.open_items) | set(course.begun)
    return tuple(step.function for step in state.plan.steps if step.function in begun) if state.plan else ()


def chosen_order(state: JobState, course: Course, names: Sequence[str], by: str, reason: str) -> OrderChosen:
    """The event that takes another order. Reads the book and asks the planner: tens of milliseconds.

    Args: names: all functions of the plan in the order wanted.
    Raises: InputError: order-refused: no plan, no name, no reason, nothing changed, a place that has begun would move,
        a rule forbids it, a state of the car is out of reach; act-unknown: other names than the plan's.
    """
    if state.plan is None or state.closed is not None:
        raise _refused("there is no plan to be worked")
    if not by or not reason or len(reason) > LONGEST_REASON:
        raise _refused(f"say who chooses it and why, in at most {LONGEST_REASON} characters")
    tried = try_order(state, names)
    now = tuple(step.function for step in state.plan.steps)
    if tried.order == now:
        raise _refused("the plan has this order already")
    begun = begun_in(state, course)
    if tried.order[: len(begun)] != begun:
        raise _refused(
            f"{', '.join(_words(tried, begun))}: begun or decided already, so it keeps its place before the rest"
        )
    return _event(state, tried, by, reason)


def _event(state: JobState, tried: Tried, by: str, reason: str) -> OrderChosen:
    hard = [c for c in tried.conflicts if c.hard]
    if hard:
        raise _refused("; ".join(f"{c.before_words} must come before {c.after_words}: {c.why}" for c in hard))
    if tried.plan is None or tried.active_min is None or tried.elapsed_min is None:
        raise _refused("a state of the car that it needs cannot be reached in this order")
    broken = tuple(
        say(
            "order.costs",
            "{before} should come before {after}: {why}",
            before=c.before_words,
            after=c.after_words,
            why=c.why,
        )
        for c in tried.conflicts
    )
    return OrderChosen(by, reason, _explained(state.plan, tried.plan, by), broken, tried.active_min, tried.elapsed_min)


def _explained(before: Plan | None, after: Plan, by: str) -> Plan:
    """The new plan with the procedures that were planned, also where the book is another one now.

    What stays behind the same place keeps its reason, for the rest the person stands.
    """
    known: dict[str, tuple[str, PlanStep]] = {}
    last = ""
    for step in before.steps if before else ():
        known[step.function] = (last, step)
        last = step.function
    steps: list[PlanStep] = []
    last = ""
    for step in after.steps:
        behind, old = known.get(step.function, ("", step))
        own = say("order.chosen", "at this place because {by} chose it", by=by)
        why = old.why if behind == last else own
        steps.append(msgspec.structs.replace(step, why=why, procedure=old.procedure))
        last = step.function
    return msgspec.structs.replace(after, steps=tuple(steps))


def _words(tried: Tried, names: Sequence[str]) -> list[str]:
    return [tried.words.get(name, name) for name in names]


def _refused(why: str) -> InputError:
    return InputError(Code.ORDER_REFUSED, why)
