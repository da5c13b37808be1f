"""An exercise from a record: what a trainer worked at a bench car becomes how it is rightly played.

The scene and the faults come from the exercise that was worked, their sizes fixed; the right end, the answers and the
time come from the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import cast

import msgspec

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import JobState, RunState, fold
from asleft.model.errors import Code, InputError
from asleft.model.question import QuestionKind
from asleft.model.verdict import Verdict

from .exercise import Deed, Exercise, Goal, Hidden
from .scoring import Grading

#: A pupil may take so many times as long as the trainer; ours.
_PATIENCE = 1.5


def exercise_from(base: Exercise, events: Sequence[Event], truth: Grading, name: str, title: str) -> Exercise:
    """A new exercise. Args: base: the exercise that was worked. name, title: of the new one.

    Raises: InputError: the record has no run of the exercise's function, or none that came to an end that teaches.
    """
    state = fold(events)
    runs = [r for r in state.runs.values() if r.started.function == base.function]
    if not runs:
        raise InputError(Code.PROCEDURE_MISSING, f"the record has no run of {base.function}")
    hidden = tuple(msgspec.structs.replace(h, **_fixed(h, truth)) for h in base.hidden)
    return msgspec.structs.replace(
        base,
        id=name,
        title=title,
        goal=_goal(state, runs[-1]),
        par_min=float(ceil(_PATIENCE * (events[-1].monotonic_s - events[0].monotonic_s) / 60.0)),
        hidden=hidden,
        right=msgspec.structs.replace(base.right, answers=_answers(events)),
        mistakes=(),
    )


def as_text(exercise: Exercise) -> str:
    """The file's text, without what is empty."""
    plain = msgspec.to_builtins(exercise)
    return msgspec.yaml.encode(_kebab({k: v for k, v in plain.items() if v not in ((), {}, "", [])})).decode()


def _fixed(hidden: Hidden, truth: Grading) -> dict[str, float]:
    size = truth.hidden.get(hidden.fault)
    return {} if hidden.low is None or size is None else {"low": size, "high": size}


def _goal(state: JobState, run: RunState) -> Goal:
    sent = any(e.intent.run == run.started.run for e in state.effects.values())
    if run.verdict is Verdict.PASS:
        return Goal.PROVE
    if run.verdict is Verdict.FAIL:
        return Goal.FAIL_STANDS
    if not sent and run.started.function in state.open_items:
        return Goal.NOT_BEGUN
    raise InputError(Code.PROCEDURE_MISSING, f"{run.started.run} has no end that an exercise could ask for")


def _answers(events: Sequence[Event]) -> dict[str, tuple[str, ...]]:
    """Answers by the question's text, in order, where they are not the first one offered."""
    asked = {e.body.question.id: e.body.question for e in events if isinstance(e.body, b.QuestionAsked)}
    given: dict[str, tuple[str, ...]] = {}
    for event in events:
        if isinstance(event.body, b.QuestionAnswered):
            question, answer = asked[event.body.answer.question], event.body.answer.text
            text = question.message.text
            if question.kind is QuestionKind.TYPE or answer != question.choices[0] or text in given:
                given[text] = (*given.get(text, ()), answer)
    return dict(sorted(given.items(), key=lambda one: -len(one[0])))  # a question quotes the one before it


def _kebab(value: object) -> object:
    if isinstance(value, dict):
        fields = cast("dict[str, object]", value)
        return {k.replace("_", "-") if k in _FIELDS else k: _kebab(v) for k, v in fields.items()}
    if isinstance(value, list | tuple):
        return [_kebab(v) for v in cast("list[object]", value)]
    return value


_FIELDS = {f for kind in (Exercise, Hidden, Deed) for f in kind.__struct_fields__} | {"after_s"}
