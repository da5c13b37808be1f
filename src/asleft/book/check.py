"""What must be right before a procedure may be used: rules beyond the form of the file. Pure.

Each rule is a function from a procedure to complaints; the loader runs all of them and refuses the file on any.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from asleft.model.condition import ConditionKind
from asleft.model.units import UNITS
from asleft.proof.criterion_data import LimitData

from .check_conditions import condition_complaints, unit_meant
from .check_reach import REACH_RULES
from .check_steps import STEP_RULES, Rule
from .procedure import Procedure, Way
from .remark import Complaint, Path, nearest
from .vocabulary import CAR_STATES


def check(procedure: Procedure) -> tuple[Complaint, ...]:
    """Complaints of all rules, in the order of the rules; none means it may be used."""
    return tuple(complaint for rule in RULES for complaint in rule(procedure))


def _same_id(procedure: Procedure) -> Iterator[Complaint]:
    lists: list[tuple[Path, tuple[str, ...]]] = [(("entry",), tuple(c.id for c in procedure.entry))]
    lists.extend((("ways", way.value), tuple(s.id for s in procedure.ways.all_steps(way))) for way in Way)
    for path, ids in lists:
        for n, name in enumerate(ids):
            if name in ids[:n]:
                why = f'"{name}" is the id of an earlier entry of this list'
                yield Complaint((*path, n, "id"), "same-id", why, "another id")


def _car_state(procedure: Procedure) -> Iterator[Complaint]:
    if procedure.state and procedure.state not in CAR_STATES:
        near = nearest(procedure.state, CAR_STATES) or "one of " + ", ".join(CAR_STATES)
        yield Complaint(("state",), "car-state", f'"{procedure.state}" is no car state', near)


def _years(procedure: Procedure) -> Iterator[Complaint]:
    years = procedure.applies.years
    if years is not None and years[0] > years[1]:
        yield Complaint(("applies", "years"), "years", "the first year is after the last", f"[{years[1]}, {years[0]}]")


def _minutes(procedure: Procedure) -> Iterator[Complaint]:
    minutes = procedure.minutes
    if minutes is not None and minutes.elapsed < minutes.active:
        why = "less time passes than the technician is busy"
        yield Complaint(("minutes", "elapsed"), "minutes", why, f"at least {minutes.active:g}")


def _conditions(procedure: Procedure) -> Iterator[Complaint]:
    for n, condition in enumerate(procedure.entry):
        yield from condition_complaints(("entry", n), condition)


def _waivable(procedure: Procedure) -> Iterator[Complaint]:
    for n, condition in enumerate(procedure.entry):
        if condition.waivable and procedure.risk > 2:
            why = f"no condition of a function with risk {procedure.risk} may be waived"
            yield Complaint(("entry", n, "waivable"), "waivable", why, "false")


def _interlocks(procedure: Procedure) -> Iterator[Complaint]:
    known = tuple(c.id for c in procedure.entry)
    for n, lock in enumerate(procedure.interlocks):
        condition = procedure.condition(lock.holds)
        path: Path = ("interlocks", n, "holds")
        if condition is None:
            near = nearest(lock.holds, known) or "the id of an entry condition"
            yield Complaint(path, "interlock", f'"{lock.holds}" is no entry condition', near)
        elif condition.kind is ConditionKind.DECLARED:
            why = f'"{lock.holds}" is declared; nothing can watch it'
            yield Complaint(path, "interlock", why, "a condition with a signal, or a caution")


def _criteria(procedure: Procedure) -> Iterator[Complaint]:
    saves = {s for way in Way for step in procedure.ways.steps(way) if (s := getattr(step, "save", ""))}
    for n, criterion in enumerate(procedure.criteria):
        path: Path = ("criteria", n)
        if criterion.id in tuple(c.id for c in procedure.criteria[:n]):
            yield Complaint(
                (*path, "id"), "same-id", f'"{criterion.id}" is the id of an earlier criterion', "another id"
            )
        for field in ("saved", "before", "back"):
            saved = getattr(criterion, field, "")
            if saved and procedure.ways.offered and saved not in saves:
                near = nearest(saved, tuple(saves)) or "the name under which a step saves"
                yield Complaint((*path, field), "saved", f'no step saves "{saved}"', near)
        limits: LimitData | None = getattr(criterion, "limits", None)
        if limits is not None and limits.unit not in UNITS:
            yield Complaint((*path, "limits", "unit"), "unit", f'"{limits.unit}" is no unit', unit_meant(limits.unit))
        for m, code in enumerate(getattr(criterion, "codes", ())):
            if not re.fullmatch(r"[PCBU][0-3][0-9A-F]{3}", code):
                yield Complaint((*path, "codes", m), "pattern", f'"{code}" is no trouble code', "such as P2176")


RULES: tuple[Rule, ...] = (
    _same_id,
    _car_state,
    _years,
    _minutes,
    _conditions,
    _waivable,
    _interlocks,
    *STEP_RULES,
    *REACH_RULES,
    _criteria,
)
