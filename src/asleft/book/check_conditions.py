"""What must be right in one condition: signal, unit, limits. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from asleft.model.condition import Condition, ConditionKind
from asleft.model.units import UNITS

from .form import file_key
from .remark import Complaint, Path, nearest
from .signal_units import SIGNAL_UNITS, fits, units_for


def condition_complaints(path: Path, condition: Condition) -> Iterator[Complaint]:
    """Complaints about one condition that stands at ``path``."""
    for field, code, why, instead in _condition(condition):
        yield Complaint((*path, *((field,) if field else ())), code, why, instead)


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
        near = unit_meant(symbol)
        yield "unit", "unit", f'"{symbol}" is no unit', near
    elif signal in SIGNAL_UNITS and not fits(signal, symbol):
        quantity = UNITS[SIGNAL_UNITS[signal]].quantity
        why = f"{signal} is a {quantity}, {symbol} is not"
        yield "unit", "unit-mismatch", why, "one of " + ", ".join(units_for(signal))


def unit_meant(symbol: str) -> str:
    """The unit that was probably meant, or where to look."""
    meant = {"C": "°C", "degC": "°C", "ºC": "°C", "F": "°F", "percent": "%", "kmh": "km/h", "kph": "km/h"}
    meant |= {"volt": "V", "v": "V", "1/min": "rpm", "U/min": "rpm", "kpa": "kPa", "sec": "s", "mbar": "kPa"}
    return meant.get(symbol) or nearest(symbol, tuple(UNITS)) or "a unit of the list in the docs"


_NEEDED: dict[ConditionKind, tuple[bool, bool]] = {
    ConditionKind.WITHIN: (True, True),
    ConditionKind.AT_LEAST: (True, False),
    ConditionKind.AT_MOST: (False, True),
    ConditionKind.STEADY: (False, True),
    ConditionKind.SLOPE: (True, True),
    ConditionKind.NO_STEP: (False, True),
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
