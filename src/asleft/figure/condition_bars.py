"""Entry conditions as rows: shape and word, the reading against its limits, and how long it has held."""

from __future__ import annotations

from collections.abc import Sequence

from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.numbers import show
from asleft.model.reading import Evidence

from .axis import Scale
from .lettering import capital, cut_short, width_of
from .look import Look, Size
from .marks import STATE_ROLE, STATE_WORDS, mark
from .svg import Drawing

_OVER_TIME = frozenset({ConditionKind.STEADY, ConditionKind.SLOPE, ConditionKind.NO_STEP})


def condition_bars(
    conditions: Sequence[Condition],
    results: Sequence[ConditionResult],
    *,
    size: Size | None = None,
    look: Look = Look.PAGE,
) -> str:
    """One row for each condition, in their order, as SVG text. A condition without a result is not known."""
    size = size or Size()
    drawing = Drawing(size, look)
    found = {r.condition: r for r in results}
    tall = size.line * 2.5
    for i, condition in enumerate(conditions):
        result = found.get(condition.id) or ConditionResult(condition.id, ConditionState.NOT_KNOWN, 0.0)
        _row(drawing, condition, result, i * tall)
        if i:
            drawing.line(14.0, i * tall, size.width - 14.0, i * tall, "axis", thick=0.8)
    states = [found[c.id].state if c.id in found else ConditionState.NOT_KNOWN for c in conditions]
    met = states.count(ConditionState.MET)
    told = " ".join(f"{c.text}: {_told(c, found.get(c.id))}." for c in conditions)
    return drawing.finish(
        max(1, len(conditions)) * tall + 4.0,
        f"{met} of {len(conditions)} conditions met",
        told or "Nothing is asked for.",
    )


def _row(drawing: Drawing, condition: Condition, result: ConditionResult, y: float) -> None:
    size, role = drawing.size, _role(result)
    box = size.letters * 1.5
    mark(drawing, 14.0, y + size.line * 0.4, box, role)
    text_x = 14.0 + box + size.letters * 0.6
    bar_x = size.width * 0.62
    declared = condition.kind is ConditionKind.DECLARED
    room = (size.width if declared else bar_x) - text_x - size.letters
    drawing.text(text_x, y + size.line, cut_short(capital(condition.text), room, size.letters * 1.12), bold=True)
    drawing.text(text_x, y + size.line * 2.0, cut_short(_told(condition, result), room, size.letters), role)
    _bar(drawing, condition, result, bar_x, y + size.line * 0.75)
    _hold(drawing, condition, result, bar_x, y + size.line * 1.75)


def _role(result: ConditionResult) -> str:
    """Colour and shape; what is inside its limits and only has to last is waiting, not wrong."""
    holding = result.state is ConditionState.NOT_MET and result.margin is not None and result.margin >= 0.0
    return "trace" if holding else STATE_ROLE[result.state]


def _told(condition: Condition, result: ConditionResult | None) -> str:
    """State in words with the reading."""
    if result is None:
        return STATE_WORDS[ConditionState.NOT_KNOWN]
    word = STATE_WORDS[result.state]
    if result.evidence is Evidence.DECLARED:
        return "declared" if result.state is ConditionState.MET else word
    if result.state is ConditionState.MET and result.value is not None:
        limits = [e for e in (condition.low, condition.high) if e is not None]
        measured = _measured(condition, result)
        if measured is None:
            return word
        said = {ConditionKind.STEADY: "moves by ", ConditionKind.NO_STEP: "no step above "}.get(condition.kind, "")
        return f"{word}, {said}{show(measured, condition.unit, *limits)}"
    return result.reason.text if result.reason else word


def _bar(drawing: Drawing, condition: Condition, result: ConditionResult, x: float, y: float) -> None:
    """The reading on a short line with the allowed band; nothing where nothing is measured."""
    end = drawing.size.width - 20.0
    if condition.kind is ConditionKind.DECLARED:
        return
    value = _measured(condition, result)
    low, high = _ends(condition)
    line = _line(low, high, value, x, end)
    begin_x = x if low is None else line.at(low)
    end_x = end if high is None else line.at(high)
    drawing.rect(begin_x, y - 7, end_x - begin_x, 14, "band")
    drawing.line(x, y, end, y, "axis", thick=1.6)
    for limit in (low, high):
        if limit is not None:
            drawing.line(line.at(limit), y - 9, line.at(limit), y + 9, "edge", thick=2.4)
    if value is not None:
        at = line.at(value)
        drawing.area([(at, y - 9), (at + 8, y), (at, y + 9), (at - 8, y)], _role(result))


def _measured(condition: Condition, result: ConditionResult) -> float | None:
    if condition.kind not in _OVER_TIME:
        return result.value
    if result.margin is None or condition.high is None or condition.kind is ConditionKind.SLOPE:
        return None  # of a slope only the distance to the nearer limit is known
    looser = condition.leave_high if result.state is ConditionState.MET else None
    return (looser if looser is not None else condition.high) - result.margin


def _ends(condition: Condition) -> tuple[float | None, float | None]:
    match condition.kind:
        case ConditionKind.AT_LEAST:
            return condition.low, None
        case ConditionKind.AT_MOST | ConditionKind.STEADY | ConditionKind.NO_STEP:
            return None, condition.high
        case _:
            return condition.low, condition.high


def _line(low: float | None, high: float | None, value: float | None, x: float, end: float) -> Scale:
    edges = [e for e in (low, high) if e is not None] or [0.0]
    width = max(edges) - min(edges)
    away = 0.0 if value is None else max(abs(value - e) for e in edges)
    reach = max(width * 0.5, min(1.3 * away, 3.0 * max(width, abs(edges[0]), 1.0)), abs(edges[0]) * 0.2, 1e-6)
    return Scale(min(edges) - reach, max(edges) + reach, x + 8, end - 8)


def _hold(drawing: Drawing, condition: Condition, result: ConditionResult, x: float, y: float) -> None:
    """How much of the time it must hold is over."""
    if condition.hold_s <= 0.0 or condition.kind is ConditionKind.DECLARED:
        return
    letters = drawing.size.letters * 0.85
    held = min(result.held_s, condition.hold_s)
    if condition.kind in _OVER_TIME and result.state is ConditionState.MET:
        held = condition.hold_s
    text = f"held {held:.0f} of {condition.hold_s:g} s"
    wide = drawing.size.width - 20.0 - x - width_of(text, letters) - 10.0
    drawing.rect(x, y - 5, wide, 10, "gap", round_px=2)
    drawing.rect(x, y - 5, wide * held / condition.hold_s, 10, _role(result), round_px=2)
    drawing.text(drawing.size.width - 20.0, y + letters * 0.35, text, "soft", anchor="end", scale=0.85)
