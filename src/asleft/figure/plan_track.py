"""The plan as a track: a lane for each car state, procedures as numbered blocks in order, moves between the lanes."""

from __future__ import annotations

import msgspec

from asleft.model.numbers import plain
from asleft.model.work import Plan, PlanStep

from .lettering import cut_short, width_of, wrapped
from .look import Look, Size
from .svg import Drawing

_LANE = 46.0
_BLOCK = 34.0


class _Place(msgspec.Struct, frozen=True):
    """Where a step stands: lane, begin of its move, begin and end of its block, px."""

    lane: int
    move_x: float
    begin_x: float
    end_x: float


#: Where the slug is no word.
_STATES = {
    "koeo": "key on, engine off",
    "koeo-cold": "key on, engine off, cold",
    "koeo-warm": "key on, engine off, warm",
    "hv-safe": "high voltage made safe",
    "hv-rest": "high voltage at rest",
}


def plan_track(
    plan: Plan, *, done: frozenset[str] = frozenset(), size: Size | None = None, look: Look = Look.PAGE
) -> str:
    """A plan as SVG text.

    Args: plan: in order. done: functions that are done; their blocks are filled.
    """
    size = size or Size()
    drawing = Drawing(size, look)
    lanes = list(dict.fromkeys(step.state for step in plan.steps))
    places = _places(plan, lanes, size)
    top = size.line * 1.9
    _total(drawing, plan)
    for i, lane in enumerate(lanes):
        _lane(drawing, lane, top + i * _LANE)
    for i in range(1, len(places)):
        _move(drawing, plan.steps[i], places[i - 1], places[i], top)
    for i, (step, place) in enumerate(zip(plan.steps, places, strict=True), 1):
        _block(drawing, i, step, place, top, step.function in done)
    y = top + max(1, len(lanes)) * _LANE + size.line * 0.5
    for i, step in enumerate(plan.steps, 1):
        y = _entry(drawing, i, step, y, step.function in done)
    told = " ".join(f"{i}. {s.name}, {state_words(s.state)}, {_minutes(s)}." for i, s in enumerate(plan.steps, 1))
    return drawing.finish(y + size.line * 0.4, _totals(plan), told or "Nothing to do.")


def _left(size: Size) -> float:
    return min(size.width * 0.3, size.letters * 12.0)


def _places(plan: Plan, lanes: list[str], size: Size) -> list[_Place]:
    """Widths follow the minutes, but no block is too narrow for its number."""
    left, right = _left(size) + 12.0, size.width - 14.0
    if not plan.steps:
        return []
    free = right - left - sum(_BLOCK + (16.0 if s.move_min else 6.0) for s in plan.steps)
    minutes = sum(_wait(s) + s.work_min for s in plan.steps) or 1.0
    shrink = min(1.0, (right - left) / (len(plan.steps) * (_BLOCK + 16.0)))
    per_minute = max(0.0, free) / minutes
    places, x = list[_Place](), left
    for step in plan.steps:
        move = ((16.0 if step.move_min else 6.0) + _wait(step) * per_minute) * shrink
        begin = x + move
        end = begin + (_BLOCK + step.work_min * per_minute) * shrink
        places.append(_Place(lanes.index(step.state), x, begin, end))
        x = end
    return places


def _wait(step: PlanStep) -> float:
    """Calendar minutes of the move."""
    return max(step.move_min, step.elapsed_min - step.work_min, 0.0)


def _total(drawing: Drawing, plan: Plan) -> None:
    size = drawing.size
    text = _totals(plan)
    drawing.text(14.0, size.line, text, bold=True)
    if plan.given_active_min is not None and plan.given_active_min > plan.active_min:
        saved = plain(plan.given_active_min - plan.active_min, 0)
        words = f"{saved} min less than in the order given"
        if width_of(text + words, size.letters) < size.width - 60:
            drawing.text(size.width - 14.0, size.line, words, "soft", anchor="end", scale=0.9)


def _totals(plan: Plan) -> str:
    return f"{plain(plan.active_min, 0)} min of work, {plain(plan.elapsed_min, 0)} min in all"


def state_words(state: str) -> str:
    """A car state as people say it."""
    return _STATES.get(state) or state.replace("-", " ")


def _lane(drawing: Drawing, name: str, y: float) -> None:
    size = drawing.size
    left = _left(size)
    middle = y + _LANE / 2
    lines = wrapped(state_words(name), left - 14.0, size.letters * 0.85)[:2]
    for i, text in enumerate(lines):
        base = middle + size.letters * 0.3 + (i - (len(lines) - 1) / 2) * size.letters * 1.1
        drawing.text(14.0, base, cut_short(text, left - 14.0, size.letters * 0.85), "soft", scale=0.85)
    drawing.line(left + 4.0, middle, size.width - 14.0, middle, "gap", thick=10.0)


def _move(drawing: Drawing, step: PlanStep, before: _Place, now: _Place, top: float) -> None:
    """From one lane to the next, with the minutes it takes to get there."""
    y1, y2 = (top + p.lane * _LANE + _LANE / 2 for p in (before, now))
    drawing.line(before.end_x, y1, now.begin_x, y2, "axis", thick=3.0, dash="" if y1 == y2 else "6 4")
    wait = _wait(step)
    text = f"{plain(wait, 0)} min"
    wide = width_of(text, drawing.size.letters * 0.8)
    if wait and y1 != y2 and wide < now.begin_x - now.move_x:
        x, y = (before.end_x + now.begin_x) / 2, (y1 + y2) / 2
        drawing.rect(x - wide / 2 - 2, y - 9, wide + 4, 18, "card")
        drawing.text(x, y + drawing.size.letters * 0.28, text, "soft", anchor="middle", scale=0.8)


def _block(drawing: Drawing, number: int, step: PlanStep, place: _Place, top: float, done: bool) -> None:
    y = top + place.lane * _LANE + 6.0
    tall, wide = _LANE - 12.0, place.end_x - place.begin_x - 2.0
    role = "trace" if step.procedure or not step.work_min else "tell"
    if done:
        drawing.rect(place.begin_x, y, wide, tall, role, round_px=4)
    else:
        drawing.rect(place.begin_x, y, wide, tall, "card", round_px=4)
        drawing.frame(place.begin_x, y, wide, tall, role, thick=2.4)
    base = y + tall / 2 + drawing.size.letters * 0.36
    drawing.text(place.begin_x + wide / 2, base, str(number), "card" if done else role, anchor="middle", bold=True)


def _entry(drawing: Drawing, number: int, step: PlanStep, y: float, done: bool) -> float:
    """One line of the list below the track."""
    size = drawing.size
    y += size.line
    minutes = _minutes(step) + (", done" if done else "")
    room = size.width - 28.0 - width_of(minutes, size.letters) - size.letters * 2.6
    drawing.text(14.0, y, f"{number}", bold=True)
    drawing.text(14.0 + size.letters * 1.6, y, cut_short(step.name, room, size.letters))
    drawing.text(size.width - 14.0, y, minutes, "soft", anchor="end")
    return y


def _minutes(step: PlanStep) -> str:
    work = f"{plain(step.work_min, 0)} min"
    wait = _wait(step)
    return f"{plain(wait, 0)} min to get there, {work}" if wait else work
