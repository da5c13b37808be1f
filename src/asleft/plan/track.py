"""The plan as text and as plain values: a timed track of car states, with reasons and what it saves. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import msgspec

from asleft.model.message import Message, say
from asleft.model.work import Grade, Need, Plan

from .order import Solution


def track_text(plan: Plan) -> str:
    """One line a step: clock at its begin and end, car state, minutes, why; then the totals."""
    return "\n".join((*_lines(plan), totals(plan).text)) + "\n"


def track_values(needs: Sequence[Need], plan: Plan) -> dict[str, Any]:
    """Needs and plan as plain values for JSON, texts filled in, minutes in min."""
    return {
        "needs": [{**_plain(need), "reasons": [reason.text for reason in need.reasons]} for need in needs],
        "steps": [
            {**_plain(step), "why": step.why.text, "begin_min": begin, "end_min": end}
            for step, begin, end in _clock(plan)
        ],
        "active_min": plan.active_min,
        "elapsed_min": plan.elapsed_min,
        "given_active_min": plan.given_active_min,
        "proven": plan.proven,
        "says": totals(plan).text,
    }


def needs_text(needs: Iterable[Need]) -> str:
    """One line a need with its chain of reasons."""
    return "".join(f"{_need(need)}\n" for need in needs)


_WORDS = {Grade.REQUIRED: "required", Grade.ADVISABLE: "advisable", Grade.NOT_NEEDED: "not needed"}


def _need(need: Need) -> str:
    missing = need.grade is Grade.REQUIRED and not need.procedure
    note = " (no procedure in the book: look it up in the manual, or write a quick one)" if missing else ""
    return f"{_WORDS[need.grade]}: {need.name}{note}: " + "; ".join(reason.text for reason in need.reasons)


def totals(plan: Plan) -> Message:
    """What the plan takes and what it saves against the given order, in minutes."""
    shown = "shown to be the best order" if plan.proven else "not shown to be the best order"
    values = {"active": f"{plan.active_min:g}", "elapsed": f"{plan.elapsed_min:g}", "shown": shown}
    head = "{active} min work, {elapsed} min on the clock, {shown}; "
    if plan.given_active_min is None:
        return say("plan.total.impossible", head + "the given order breaks a hard rule", **values)
    saved = f"{plan.given_active_min - plan.active_min:g}"
    return say("plan.total", head + "saves {saved} min work against the given order", saved=saved, **values)


def against(best: Solution, other: Solution | None, name: str) -> Message:
    """What the best order saves against another one, called ``name``."""
    if other is None:
        return say("plan.against.impossible", "{name} breaks a hard rule", name=name)
    return say(
        "plan.against",
        "{name}: {active} min more work, {elapsed} min more on the clock",
        name=name,
        active=f"{other.active_min - best.active_min:g}",
        elapsed=f"{other.elapsed_min - best.elapsed_min:g}",
    )


def _clock(plan: Plan) -> Iterator[tuple[Any, float, float]]:
    now = 0.0
    for step in plan.steps:
        yield step, now, now + step.elapsed_min
        now += step.elapsed_min


def _lines(plan: Plan) -> Iterator[str]:
    for step, begin, end in _clock(plan):
        move = f", {step.move_min:g} min to get there" if step.move_min else ""
        yield f"{_time(begin)} to {_time(end)}  {step.name} [{step.state}] {step.work_min:g} min{move}: {step.why.text}"


def _time(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60}:{whole % 60:02d}"


def _plain(value: Need | Any) -> dict[str, Any]:
    return msgspec.to_builtins(value)
