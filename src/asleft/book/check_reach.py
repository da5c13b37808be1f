"""What could never come about, or never be told apart: choices, states, conditions, places of sources. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import cast

import msgspec

from asleft.model.condition import Condition, ConditionKind
from asleft.model.errors import InputError
from asleft.model.step import Agree, Ask, RoutineResult
from asleft.model.units import UNITS, convert

from .check_conditions import condition_complaints
from .printed import two_bytes
from .procedure import Procedure, Way
from .remark import Complaint, Path, nearest
from .signal_units import SIGNAL_UNITS

Rule = Callable[[Procedure], Iterator[Complaint]]

_SPANS = {ConditionKind.WITHIN, ConditionKind.AT_LEAST, ConditionKind.AT_MOST}


def _looks(procedure: Procedure) -> Iterator[Complaint]:
    looks = procedure.ways.look
    for n, look in enumerate(looks):
        path: Path = ("ways", "look", n)
        if look.id in tuple(other.id for other in looks[:n]):
            yield Complaint((*path, "id"), "same-id", f'"{look.id}" is the id of an earlier one', "another id")
        if bool(look.identifier) == bool(look.signals):
            why = "a value has either an identifier or signals"
            yield Complaint(path, "value", why, "identifier: … or signals: [ … ]")
        if look.identifier:
            try:
                two_bytes(look.identifier, look.printed)
            except InputError as error:
                yield Complaint((*path, "identifier"), "identifier", error.detail, "as the page prints it")
        for m, signal in enumerate(look.signals):
            if signal not in SIGNAL_UNITS:
                near = nearest(signal, tuple(SIGNAL_UNITS)) or "a signal of the list in the docs"
                yield Complaint((*path, "signals", m), "signal", f'"{signal}" is no known signal', near)


def _choices(procedure: Procedure) -> Iterator[Complaint]:
    """Answers that nobody can give, or that are there twice; signals that must agree."""
    asked: list[tuple[Path, Sequence[str], Sequence[Agree]]] = []
    for n, question in enumerate(procedure.ways.questions):
        asked.append((("ways", "questions", n), question.choices, question.agree))
        if question.id in tuple(q.id for q in procedure.ways.questions[:n]):
            why = f'"{question.id}" is the id of an earlier question'
            yield Complaint(("ways", "questions", n, "id"), "same-id", why, "another id")
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            if isinstance(step, Ask):
                asked.append((("ways", way.value, n), step.choices, step.agree))
    for path, choices, agree in asked:
        yield from _asked(path, choices, agree)


def _asked(path: Path, choices: Sequence[str], agree: Sequence[Agree]) -> Iterator[Complaint]:
    for n, choice in enumerate(choices):
        if choice in choices[:n]:
            why = f'"{choice}" stands there before; nobody can tell the two apart'
            yield Complaint((*path, "choices", n), "same-choice", why, "another answer")
    for n, one in enumerate(agree):
        if one.answer not in choices:
            near = nearest(one.answer, tuple(choices)) or "one of the choices"
            yield Complaint((*path, "agree", n, "answer"), "unreachable", f'"{one.answer}" is no answer here', near)
        if one.condition.kind is ConditionKind.DECLARED:
            why = "a declared condition cannot agree with an answer: both are words"
            yield Complaint((*path, "agree", n, "condition"), "declared", why, "a condition with a signal")
        else:
            yield from condition_complaints((*path, "agree", n, "condition"), one.condition)


def _states(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            if not isinstance(step, RoutineResult):
                continue
            values = [state.value for state in step.states]
            for m, value in enumerate(values):
                if value in values[:m]:
                    why = f"the value {value} has a meaning already"
                    yield Complaint(("ways", way.value, n, "states", m), "unreachable", why, "keep one of them")


def _contradictions(procedure: Procedure) -> Iterator[Complaint]:
    """Entry conditions of one signal that can never hold together: the gate would never open."""
    spans = [(n, c, limits) for n, c in enumerate(procedure.entry) if (limits := span(c)) is not None]
    for (_, a, (a_low, a_high)), (n, b, (b_low, b_high)) in combinations(spans, 2):
        if a.signal == b.signal and (a_low > b_high or b_low > a_high):
            why = f"{a.id} and {b.id} can never hold together; the gate would never open"
            yield Complaint(("entry", n), "contradiction", why, "limits that overlap, or one of the two")


def span(condition: Condition) -> tuple[float, float] | None:
    """Lower and upper limit in the signal's own unit; None for a form without both ends or an unknown signal."""
    unit = SIGNAL_UNITS.get(condition.signal)
    if condition.kind not in _SPANS or unit is None or condition.unit not in UNITS:
        return None
    if UNITS[unit].quantity != UNITS[condition.unit].quantity:
        return None
    low = float("-inf") if condition.low is None else convert(condition.low, condition.unit, unit)
    high = float("inf") if condition.high is None else convert(condition.high, condition.unit, unit)
    return low, high


def _sources(procedure: Procedure) -> Iterator[Complaint]:
    """A source of its own must be that of something that stands in the file."""
    plain = cast("object", msgspec.to_builtins(procedure)) if procedure.sources else None
    for n, one in enumerate(procedure.sources):
        if not _stands(plain, one.at):
            why = f'"{one.at}" names no field of this procedure'
            yield Complaint(("sources", n, "at"), "unreachable", why, "as messages name it, such as entry[3].low")


def _stands(value: object, at: str) -> bool:
    if not re.fullmatch(r"[a-z-]+(\[[1-9]\d*\]|\.[a-z-]+)*", at):
        return False
    for key, index in re.findall(r"([a-z-]+)|\[(\d+)\]", at):
        if key and isinstance(value, dict):
            value = cast("dict[str, object]", value).get(key.replace("-", "_"))
        elif index and isinstance(value, tuple | list) and int(index) <= len(cast("Sequence[object]", value)):
            value = cast("Sequence[object]", value)[int(index) - 1]
        else:
            return False
    return value is not None


REACH_RULES: tuple[Rule, ...] = (_looks, _choices, _states, _contradictions, _sources)
