"""What must be right before a procedure may be used: rules beyond the form of the file. Pure.

Each rule is a function from a procedure to complaints; the loader runs all of them and refuses the file on any.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from asleft.model.condition import Condition, ConditionKind
from asleft.model.errors import InputError
from asleft.model.step import KeyCycle, Observe, RoutineResult, RoutineStart, Step
from asleft.model.units import UNITS
from asleft.proof.criterion_data import LimitData

from .form import file_key
from .identifier import parse
from .procedure import Procedure, Way
from .remark import Complaint, Path, nearest
from .signal_units import SIGNAL_UNITS, fits, units_for
from .vocabulary import CAR_STATES

Rule = Callable[[Procedure], Iterator[Complaint]]


def check(procedure: Procedure) -> tuple[Complaint, ...]:
    """Complaints of all rules, in the order of the rules; none means it may be used."""
    return tuple(complaint for rule in RULES for complaint in rule(procedure))


def _same_id(procedure: Procedure) -> Iterator[Complaint]:
    lists: list[tuple[Path, tuple[str, ...]]] = [(("entry",), tuple(c.id for c in procedure.entry))]
    lists.extend((("ways", way.value), tuple(s.id for s in procedure.ways.steps(way))) for way in Way)
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
        for field, code, why, instead in _condition(condition):
            yield Complaint(("entry", n, *((field,) if field else ())), code, why, instead)


def _condition(condition: Condition) -> Iterator[tuple[str, str, str, str]]:
    kind = condition.kind
    if kind is ConditionKind.DECLARED:
        if condition.signal:
            yield "signal", "declared", "a declared condition has no signal", "leave it out, or choose another kind"
        return
    if not condition.signal:
        yield "", "no-signal", f"a condition of kind {kind.value} needs a signal", "signal: … or kind: declared"
    elif condition.signal not in SIGNAL_UNITS:
        near = nearest(condition.signal, tuple(SIGNAL_UNITS)) or "a signal of the list in the docs, or kind: declared"
        yield "signal", "signal", f'"{condition.signal}" is no known signal', near
    yield from _condition_unit(condition)
    yield from _condition_limits(condition)


def _condition_unit(condition: Condition) -> Iterator[tuple[str, str, str, str]]:
    signal, symbol = condition.signal, condition.unit
    if symbol not in UNITS:
        near = _unit_meant(symbol)
        yield "unit", "unit", f'"{symbol}" is no unit', near
    elif signal in SIGNAL_UNITS and not fits(signal, symbol):
        quantity = UNITS[SIGNAL_UNITS[signal]].quantity
        why = f"{signal} is a {quantity}, {symbol} is not"
        yield "unit", "unit-mismatch", why, "one of " + ", ".join(units_for(signal))


def _unit_meant(symbol: str) -> str:
    meant = {"C": "°C", "degC": "°C", "ºC": "°C", "F": "°F", "percent": "%", "kmh": "km/h", "kph": "km/h"}
    meant |= {"volt": "V", "v": "V", "1/min": "rpm", "U/min": "rpm", "kpa": "kPa", "sec": "s", "mbar": "kPa"}
    return meant.get(symbol) or nearest(symbol, tuple(UNITS)) or "a unit of the list in the docs"


_NEEDED: dict[ConditionKind, tuple[bool, bool]] = {
    ConditionKind.WITHIN: (True, True),
    ConditionKind.AT_LEAST: (True, False),
    ConditionKind.AT_MOST: (False, True),
    ConditionKind.STEADY: (False, True),
}


def _condition_limits(condition: Condition) -> Iterator[tuple[str, str, str, str]]:
    kind = condition.kind
    for field, needed in zip(("low", "high"), _NEEDED[kind], strict=True):
        given = getattr(condition, field) is not None
        if needed and not given:
            yield "", "limit", f"kind {kind.value} needs {field}", f"{field}: the number on the page"
        if given and not needed:
            yield field, "limit", f"kind {kind.value} has no {field}", "leave it out, or kind: within"
    if condition.low is not None and condition.high is not None and condition.low > condition.high:
        yield "low", "limits", "low is above high", f"low: {condition.high:g} and high: {condition.low:g}"
    if condition.leave_low is not None and condition.low is not None and condition.leave_low > condition.low:
        why = "it would be lost at a tighter limit than it is met at"
        yield file_key("leave_low"), "leave", why, f"at most {condition.low:g}"
    if condition.leave_high is not None and condition.high is not None and condition.leave_high < condition.high:
        why = "it would be lost at a tighter limit than it is met at"
        yield file_key("leave_high"), "leave", why, f"at least {condition.high:g}"
    for field in ("hold_s", "max_age_s", "debounce_s"):
        if getattr(condition, field) < 0:
            yield file_key(field), "range", "a time below zero", "0 or more"


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


def _identifier(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        steps = procedure.ways.steps(way)
        started = False
        for n, step in enumerate(steps):
            path: Path = ("ways", way.value, n)
            if isinstance(step, RoutineStart | RoutineResult) and procedure.identifier is None:
                yield Complaint(path, "no-identifier", "a routine is used, but no identifier is given", "identifier: …")
            if isinstance(step, RoutineResult) and not started:
                yield Complaint(path, "sequence", "the result is asked for before a start", "routine-start before it")
            started = started or isinstance(step, RoutineStart)
    if procedure.identifier is None:
        return
    if not procedure.identifier.typed and not procedure.identifier.rows:
        yield Complaint(("identifier",), "no-identifier", "neither typed nor rows", "typed: true, or rows")
    for n, row in enumerate(procedure.identifier.rows):
        try:
            parse(row.identifier, procedure.identifier.printed)
        except InputError as error:
            yield Complaint(
                ("identifier", "rows", n, "identifier"), "identifier", error.detail, "as the page prints it"
            )


def _rows(procedure: Procedure) -> Iterator[Complaint]:
    rows = procedure.identifier.rows if procedure.identifier else ()
    for n, row in enumerate(rows):
        for earlier in rows[:n]:
            if (row.part_number, row.software_number) == (earlier.part_number, earlier.software_number):
                why = f"{earlier.row} has the same part and software number"
                yield Complaint(("identifier", "rows", n), "same-row", why, "keep the one the page prints")


def _signals(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        if isinstance(step, Observe | KeyCycle):
            for n, signal in enumerate(step.signals):
                if signal not in SIGNAL_UNITS:
                    near = nearest(signal, tuple(SIGNAL_UNITS)) or "a signal of the list in the docs"
                    yield Complaint((*path, "signals", n), "signal", f'"{signal}" is no known signal', near)


def _lengths(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        for field, least in _LEAST.get(type(step), ()):
            value = getattr(step, field)
            if value < least:
                yield Complaint((*path, file_key(field)), "range", f"{value:g} is too small", f"at least {least:g}")


_LEAST: dict[type, tuple[tuple[str, float], ...]] = {
    Observe: (("seconds", 1.0),),
    KeyCycle: (("times", 1), ("off_s", 1.0), ("settle_s", 0.0), ("seconds", 0.0)),
    RoutineResult: (("every_s", 0.1), ("timeout_s", 1.0)),
}


def _saves(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        seen: set[str] = set()
        for n, step in enumerate(procedure.ways.steps(way)):
            save = getattr(step, "save", "")
            if not save:
                continue
            if save in seen:
                why = f'"{save}" is saved by an earlier step already'
                yield Complaint(("ways", way.value, n, "save"), "same-save", why, "another name")
            seen.add(save)


def _suspends(procedure: Procedure) -> Iterator[Complaint]:
    known = tuple(lock.holds for lock in procedure.interlocks)
    for path, step in _steps(procedure):
        for n, name in enumerate(getattr(step, "suspends", ())):
            if name not in known:
                near = nearest(name, known) or "the name of an interlock"
                yield Complaint((*path, "suspends", n), "interlock", f'"{name}" is no interlock', near)


def _criteria(procedure: Procedure) -> Iterator[Complaint]:
    saves = {s for way in Way for step in procedure.ways.steps(way) if (s := getattr(step, "save", ""))}
    for n, criterion in enumerate(procedure.criteria):
        path: Path = ("criteria", n)
        if criterion.id in tuple(c.id for c in procedure.criteria[:n]):
            yield Complaint(
                (*path, "id"), "same-id", f'"{criterion.id}" is the id of an earlier criterion', "another id"
            )
        saved = getattr(criterion, "saved", None)
        if saved is not None and procedure.ways.offered and saved not in saves:
            near = nearest(saved, tuple(saves)) or "the name under which a step saves"
            yield Complaint((*path, "saved"), "saved", f'no step saves "{saved}"', near)
        limits: LimitData | None = getattr(criterion, "limits", None)
        if limits is not None and limits.unit not in UNITS:
            yield Complaint((*path, "limits", "unit"), "unit", f'"{limits.unit}" is no unit', _unit_meant(limits.unit))
        for m, code in enumerate(getattr(criterion, "codes", ())):
            if not re.fullmatch(r"[PCBU][0-3][0-9A-F]{3}", code):
                yield Complaint((*path, "codes", m), "pattern", f'"{code}" is no trouble code', "such as P2176")


def _steps(procedure: Procedure) -> Iterator[tuple[Path, Step]]:
    for way in Way:
        for n, step in enumerate(procedure.ways.steps(way)):
            yield ("ways", way.value, n), step


RULES: tuple[Rule, ...] = (
    _same_id,
    _car_state,
    _years,
    _minutes,
    _conditions,
    _waivable,
    _interlocks,
    _identifier,
    _rows,
    _signals,
    _lengths,
    _saves,
    _suspends,
    _criteria,
)
