"""A verdict as a number line: limits, guard bands, value, interval and one sentence."""

from __future__ import annotations

import math

from asleft.model.message import Message
from asleft.model.numbers import short, show_result, with_unit
from asleft.model.verdict import Judgement, LimitOwner, Limits, Rule

from .axis import Scale
from .lettering import width_of, wrapped
from .look import Look, Size
from .marks import VERDICT_ROLE, VERDICT_WORDS, mark
from .svg import Drawing

#: The line reaches this many times the distance of the limits beyond them, and no further.
_REACH = 2.5


def number_line(judgement: Judgement, *, size: Size | None = None, look: Look = Look.PAGE) -> str:
    """One judgement as SVG text.

    Args: judgement: as judged. size, look: see ``look``.
    """
    size = size or Size()
    drawing = Drawing(size, look)
    left, right = 24.0, size.width - 24.0
    y = _head(drawing, judgement, left)
    line_y = y + size.line * 1.5
    line = _scale(judgement, left + 6.0, right - 6.0)
    if line is not None:
        _zones(drawing, judgement, line, line_y)
        _value(drawing, judgement, line, line_y)
        y = line_y + size.line * 1.9
    for text in _sentences(judgement, right - left, size.letters):
        y += size.line
        drawing.text(left, y, text)
    title = f"{judgement.name}: {VERDICT_WORDS[judgement.verdict]}"
    return drawing.finish(y + size.line * 0.7, title, _described(judgement))


def _head(drawing: Drawing, judgement: Judgement, left: float) -> float:
    """Shape, verdict word and result; base line of this text."""
    size = drawing.size
    box = size.letters * 1.5
    y = size.letters * 2.0
    reported = judgement.rule is Rule.REPORT_ONLY
    role = "soft" if reported else VERDICT_ROLE[judgement.verdict]
    word = "reported" if reported else VERDICT_WORDS[judgement.verdict]
    x = left
    if not reported:
        mark(drawing, left, y - box * 0.8, box, role)
        x += box + size.letters * 0.6
    drawing.text(x, y, word, role, bold=True, scale=1.2)
    drawing.text(size.width - left, y, _result(judgement), anchor="end", bold=True, scale=1.2)
    return y


def _result(judgement: Judgement) -> str:
    if judgement.value is None or judgement.u is None:
        return "no value"
    return show_result(judgement.value, 2.0 * judgement.u, judgement.limits.unit)


def _scale(judgement: Judgement, start: float, stop: float) -> Scale | None:
    """Limits in the middle, the interval in sight unless it is far away."""
    limits, u = judgement.limits, judgement.u or 0.0
    edges = [e for e in (limits.low, limits.high) if e is not None]
    around = [] if judgement.value is None else [judgement.value - 2 * u, judgement.value + 2 * u]
    if not edges and not around:
        return None
    if not edges:
        low, high = around
    else:
        low, high = min(edges), max(edges)
        width = (high - low) or max([abs(v - low) for v in around] + [2 * u * 3, abs(low) * 0.25]) or 1.0
        width = min(width, max(abs(low), 1e-12) * 4 + 6 * u) if len(edges) == 1 else width
        low, high = low - width * 0.35, high + width * 0.35
        reach = _REACH * width
        low = min([low, *(max(v, min(edges) - reach) for v in around)])
        high = max([high, *(min(v, max(edges) + reach) for v in around)])
    room = max((high - low) * 0.06, 1e-9 * max(abs(low), abs(high), 1.0))
    return Scale(low - room, high + room, start, stop)


def _zones(drawing: Drawing, judgement: Judgement, line: Scale, y: float) -> None:
    """Allowed band, guard bands, limits with their numbers."""
    limits, tall = judgement.limits, drawing.size.letters * 1.1
    begin = line.start if limits.low is None else line.at(limits.low)
    end = line.stop if limits.high is None else line.at(limits.high)
    if limits.low is not None or limits.high is not None:
        drawing.rect(begin, y - tall / 2, end - begin, tall, "band")
    if judgement.rule is Rule.GUARDED and judgement.u:
        for limit in (limits.low, limits.high):
            if limit is not None:
                _guard(drawing, line, limit, 2.0 * judgement.u, y, tall)
    drawing.line(line.start, y, line.stop, y, "axis", thick=2.0)
    label_y = y + tall / 2 + drawing.size.line
    both = limits.low is not None and limits.high is not None
    tight = both and abs(line.at(limits.high or 0.0) - line.at(limits.low or 0.0)) < 90
    for limit, side in ((limits.low, "end" if tight else "middle"), (limits.high, "start" if tight else "middle")):
        if limit is not None:
            x = line.at(limit)
            drawing.line(x, y - tall * 0.75, x, y + tall * 0.75, "edge", thick=3.0)
            text = short(limit) if both and limit == limits.low else with_unit(short(limit), limits.unit)
            drawing.text(_kept(x, text, line, drawing.size.letters), label_y, text, "edge", anchor=side, bold=True)
    _whose(drawing, limits, line, label_y)


def _kept(x: float, text: str, line: Scale, letters: float) -> float:
    """A place for a centred text at which it does not leave the figure."""
    half = width_of(text, letters) / 2
    return min(max(x, line.start + half - 6.0), line.stop - half + 6.0)


def _guard(drawing: Drawing, line: Scale, limit: float, g: float, y: float, tall: float) -> None:
    """Guard band on both sides of a limit: slanted lines, so that it is no colour alone."""
    begin, end = line.at(limit - g), line.at(limit + g)
    step, x = 7.0, begin
    while x < end - 0.5:
        x2 = min(x + step * 0.8, end)
        drawing.line(x, y + tall / 2, x2, y - tall / 2, "guard", thick=1.6)
        x += step


def _whose(drawing: Drawing, limits: Limits, line: Scale, y: float) -> None:
    """Whose limit, where there is room for it."""
    if limits.low is None and limits.high is None:
        return
    words = "as printed" if limits.owner is LimitOwner.PRINTED else "our limit, hatched: guard band"
    wide = width_of(words, drawing.size.letters * 0.85)
    taken = [line.at(e) for e in (limits.low, limits.high) if e is not None]
    if min(taken) - 70 - line.start > wide:
        drawing.text(line.start, y, words, "soft", scale=0.85)
    elif line.stop - max(taken) - 70 > wide:
        drawing.text(line.stop, y, words, "soft", anchor="end", scale=0.85)


def _value(drawing: Drawing, judgement: Judgement, line: Scale, y: float) -> None:
    """Interval with end caps and a diamond on the value; an arrow where it lies beyond the line."""
    if judgement.value is None or judgement.u is None or not math.isfinite(judgement.value):
        return
    role = "ink" if judgement.rule is Rule.REPORT_ONLY else VERDICT_ROLE[judgement.verdict]
    x, half = line.at(judgement.value), drawing.size.letters * 0.5
    if not line.holds(judgement.value):
        way = 1.0 if judgement.value > line.high else -1.0
        drawing.area([(x, y), (x - way * 18, y - 10), (x - way * 18, y + 10)], role)
        return
    begin, end = line.at(judgement.value - 2 * judgement.u), line.at(judgement.value + 2 * judgement.u)
    drawing.line(begin, y, end, y, role, thick=5.0)
    for cap in (begin, end):
        drawing.line(cap, y - half, cap, y + half, role, thick=3.0)
    drawing.area([(x, y - half * 1.5), (x + half * 1.1, y), (x, y + half * 1.5), (x - half * 1.1, y)], role)


def _sentences(judgement: Judgement, width: float, letters: float) -> list[str]:
    lines = wrapped(_said(judgement.sentence), width, letters)
    return lines + (wrapped(f"To settle it: {judgement.settles.text}", width, letters) if judgement.settles else [])


def _said(message: Message | None) -> str:
    return message.text if message else ""


def _described(judgement: Judgement) -> str:
    """For whoever does not see it."""
    reasons = ", ".join(r.value for r in judgement.reasons)
    because = f" Cannot tell because: {reasons}." if reasons else ""
    return f"{_result(judgement)}. {_said(judgement.sentence)}{because}"
