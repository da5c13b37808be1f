"""One signal over time: its allowed band as a ribbon, steps as marks, the proof window shaded, gaps visible."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import msgspec

from asleft.model.numbers import plain, short, show, with_unit
from asleft.model.reading import Series

from .axis import Scale, scale, ticks
from .lettering import capital, cut_short, width_of
from .look import Look, Size
from .svg import Drawing

#: A time without readings longer than this is drawn as a gap, s, or five usual distances where that is longer.
LONGEST_GAP_S = 2.0
#: With fewer readings than this each is drawn as a dot as well.
_DOTS = 80


class Band(msgspec.Struct, frozen=True):
    """What is allowed, in the signal's unit; None is open."""

    low: float | None = None
    high: float | None = None


class StepMark(msgspec.Struct, frozen=True):
    """Something that happened: when, s, and in a few words."""

    at_s: float
    text: str


class Shade(msgspec.Struct, frozen=True):
    """A window that was judged: begin and end, s, and what for."""

    begin_s: float
    end_s: float
    text: str = "judged"


class _Room(msgspec.Struct, frozen=True):
    """Where things stand: the two scales and the lower and upper end of the field."""

    time: Scale
    value: Scale
    top: float
    bottom: float


def strip(
    series: Series,
    *,
    title: str = "",
    band: Band | None = None,
    marks: Sequence[StepMark] = (),
    shades: Sequence[Shade] = (),
    span_s: tuple[float, float] | None = None,
    size: Size | None = None,
    height: int = 190,
    look: Look = Look.PAGE,
) -> str:
    """One series as SVG text.

    Args:
        series: as saved; readings that are not numbers and times between distant readings are drawn as gaps.
        title: words for the signal; made from its id when empty.
        band: allowed values. marks: steps. shades: judged windows.
        span_s: time to show; the series' own when None, so that several strips can share one.
        height: of the field of readings, px.
    """
    size = size or Size()
    name = capital(title or series.signal.replace("-", " "))
    drawing = Drawing(size, look)
    band = band or Band()
    points = [(t, v) for t, v in zip(series.times_s, series.values, strict=True) if math.isfinite(t + v)]
    room = _room(points, band, span_s, size, float(height))
    _heading(drawing, name, points, band, series.unit)
    _shades(drawing, room, shades)
    _ribbon(drawing, room, band)
    pieces = _pieces(points, room.time, series.u_time_s)
    _gaps(drawing, room, pieces)
    _value_axis(drawing, room, band)
    _trace(drawing, room, pieces)
    _marks(drawing, room, marks)
    _time_axis(drawing, room)
    told = _described(name, points, series.unit, band, max(0, len(pieces) - 1))
    return drawing.finish(room.bottom + size.line * 1.5, f"{name} over time", told)


def _room(
    points: list[tuple[float, float]], band: Band, span_s: tuple[float, float] | None, size: Size, height: float
) -> _Room:
    limits = [e for e in (band.low, band.high) if e is not None]
    values = [v for _, v in points]
    shown = values + [e for e in limits if not values or _near(e, values)]
    begin, end = span_s or ((points[0][0], points[-1][0]) if points else (0.0, 1.0))
    top = size.line * 2.4
    left = size.letters * 4.2
    time = Scale(begin, max(end, begin + 1e-3), left, size.width - 14.0)
    return _Room(time, scale(shown, top + height, top), top, top + height)


def _near(limit: float, values: list[float]) -> bool:
    """A limit far away from everything measured would press the readings flat; its number in the heading tells it."""
    low, high = min(values), max(values)
    reach = 3.0 * max(high - low, 0.02 * max(abs(low), abs(high)), 1e-9)
    return low - reach <= limit <= high + reach


def _heading(drawing: Drawing, name: str, points: list[tuple[float, float]], band: Band, unit: str) -> None:
    size = drawing.size
    right = size.width - 14.0
    last = f"last {show(points[-1][1], unit)}" if points else "no reading"
    allowed = _allowed(band, unit)
    told = f"{allowed} · {last}" if allowed else last
    room = right - 14.0 - width_of(told, size.letters) - size.letters
    drawing.text(14.0, size.line, cut_short(name, room, size.letters * 1.18), bold=True, scale=1.06)
    drawing.text(right, size.line, told, "soft", anchor="end")


def _allowed(band: Band, unit: str) -> str:
    if band.low is not None and band.high is not None:
        return f"allowed {short(band.low)} to {with_unit(short(band.high), unit)}"
    if band.low is not None:
        return f"at least {with_unit(short(band.low), unit)}"
    return "" if band.high is None else f"at most {with_unit(short(band.high), unit)}"


def _shades(drawing: Drawing, room: _Room, shades: Sequence[Shade]) -> None:
    for shade in shades:
        begin, end = room.time.at(shade.begin_s), room.time.at(shade.end_s)
        drawing.rect(begin, room.top, end - begin, room.bottom - room.top, "shade")
        for x in (begin, end):
            drawing.line(x, room.top, x, room.bottom, "trace", thick=1.2, dash="5 4")
        _shade_text(drawing, room, shade.text, begin, end)


def _shade_text(drawing: Drawing, room: _Room, text: str, begin: float, end: float) -> None:
    """What the window is for: inside where it fits, else beside it."""
    wide, letters = width_of(text, drawing.size.letters * 0.85), drawing.size.letters
    x = (begin + end - wide) / 2
    if wide > end - begin - 8:
        x = begin - wide - 6 if wide < begin - room.time.start - 8 else min(end + 6, room.time.stop - wide)
        drawing.rect(x - 3, room.bottom - letters - 6, wide + 6, letters + 4, "card")
    drawing.text(x + wide / 2, room.bottom - 8, text, "trace", anchor="middle", scale=0.85)


def _ribbon(drawing: Drawing, room: _Room, band: Band) -> None:
    if band.low is None and band.high is None:
        return
    upper = room.top if band.high is None else room.value.at(band.high)
    lower = room.bottom if band.low is None else room.value.at(band.low)
    drawing.rect(room.time.start, upper, room.time.stop - room.time.start, lower - upper, "band")
    for limit in (band.low, band.high):
        if limit is not None and room.value.holds(limit):
            y = room.value.at(limit)
            drawing.line(room.time.start, y, room.time.stop, y, "edge", thick=1.6, dash="9 4")


def _pieces(points: list[tuple[float, float]], time: Scale, u_time_s: float) -> list[list[tuple[float, float]]]:
    """The readings within the time shown, cut where none came for too long."""
    seen = [p for p in points if time.low <= p[0] <= time.high]
    if not seen:
        return []
    usual = (seen[-1][0] - seen[0][0]) / max(1, len(seen) - 1)
    limit = max(LONGEST_GAP_S, 5.0 * usual) + u_time_s
    pieces = [[seen[0]]]
    for before, now in pairwise(seen):
        if now[0] - before[0] > limit or now[0] < before[0]:
            pieces.append([])
        pieces[-1].append(now)
    return pieces


def _gaps(drawing: Drawing, room: _Room, pieces: list[list[tuple[float, float]]]) -> None:
    for before, after in pairwise(pieces):
        begin, end = sorted((room.time.at(before[-1][0]), room.time.at(after[0][0])))
        drawing.rect(begin, room.top, end - begin, room.bottom - room.top, "gap")
        for x in (begin, end):
            drawing.line(x, room.top, x, room.bottom, "axis", thick=1.0, dash="2 4")
        text = cut_short("no reading", end - begin - 6, drawing.size.letters * 0.85)
        drawing.text((begin + end) / 2, room.top + drawing.size.line, text, "soft", anchor="middle", scale=0.85)


def _value_axis(drawing: Drawing, room: _Room, band: Band) -> None:
    letters = drawing.size.letters
    limits = [e for e in (band.low, band.high) if e is not None and room.value.holds(e)]
    taken = list[float]()
    for value in [*limits, *ticks(room.value.low, room.value.high, 4)]:
        y = room.value.at(value)
        if any(abs(y - other) < letters * 1.15 for other in taken) or not room.top + 4 <= y <= room.bottom + 4:
            continue
        taken.append(y)
        is_limit = value in limits
        drawing.line(room.time.start - 5, y, room.time.start, y, "axis")
        role = "edge" if is_limit else "soft"
        drawing.text(room.time.start - 8, y + letters * 0.35, short(value), role, anchor="end", bold=is_limit)
    drawing.line(room.time.start, room.top, room.time.start, room.bottom, "axis")


def _trace(drawing: Drawing, room: _Room, pieces: list[list[tuple[float, float]]]) -> None:
    few = sum(map(len, pieces)) < _DOTS
    for piece in pieces:
        placed = [(room.time.at(t), room.value.at(v)) for t, v in piece]
        drawing.path(_thinned(placed), "trace", thick=2.2)
        if few or len(piece) == 1:
            for x, y in placed:
                drawing.circle(x, y, 3.2, "trace")


def _thinned(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Of many points in one column of pixels the first, lowest, highest and last: the picture stays the same."""
    columns: dict[int, list[tuple[float, float]]] = {}
    for point in points:
        columns.setdefault(int(point[0]), []).append(point)
    kept = list[tuple[float, float]]()
    for column in columns.values():
        if len(column) <= 4:
            kept.extend(column)
            continue
        heights = [y for _, y in column]
        extremes = {0, heights.index(min(heights)), heights.index(max(heights)), len(column) - 1}
        kept.extend(column[i] for i in sorted(extremes))
    return kept


def _marks(drawing: Drawing, room: _Room, marks: Sequence[StepMark]) -> None:
    """A line with a small flag for each step; its text as far as the next one leaves room."""
    letters = drawing.size.letters * 0.85
    seen = sorted((m for m in marks if room.time.holds(m.at_s)), key=lambda m: m.at_s)
    places = [room.time.at(m.at_s) for m in seen]
    for step, x, following in zip(seen, places, [*places[1:], room.time.stop + 8.0], strict=False):
        drawing.line(x, room.top - 8, x, room.bottom, "mark", thick=1.6)
        drawing.area([(x, room.top - 14), (x + 9, room.top - 9), (x, room.top - 4)], "mark")
        text = cut_short(step.text, following - x - 18, letters)
        drawing.text(x + 12, room.top - 4, text if len(text) > 2 else "", "mark", scale=0.85)


def _time_axis(drawing: Drawing, room: _Room) -> None:
    y, letters = room.bottom, drawing.size.letters
    drawing.line(room.time.start, y, room.time.stop, y, "axis")
    factor, unit = (60.0, "min") if room.time.high - room.time.low > 300.0 else (1.0, "s")
    shown = ticks(0.0, (room.time.high - room.time.low) / factor, 6)
    for i, value in enumerate(shown):
        x = room.time.at(room.time.low + value * factor)
        drawing.line(x, y, x, y + 5, "axis")
        text = f"{plain(value, 1 if value % 1 else 0)} {unit}" if i == len(shown) - 1 else short(value)
        anchor = "end" if x > room.time.stop - letters else "middle"
        drawing.text(x, y + letters + 6, text, "soft", anchor=anchor)


def _described(name: str, points: list[tuple[float, float]], unit: str, band: Band, gaps: int) -> str:
    if not points:
        return f"{name}: no reading."
    values = [v for _, v in points]
    span = show(points[-1][0] - points[0][0], "s")
    allowed = _allowed(band, unit)
    parts = [
        f"{name}: {len(points)} readings over {span}, from {show(min(values), unit)} to {show(max(values), unit)}",
        allowed,
        f"{gaps} gaps" if gaps else "",
    ]
    return "; ".join(p for p in parts if p) + "."
