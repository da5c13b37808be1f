"""Acts by hand along time: each with the window in which it counts, and where it was done. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from .axis import Scale, ticks
from .lettering import cut_short, width_of
from .look import Look, Size
from .svg import Drawing

_ROW = 34.0


class ActWindow(msgspec.Struct, frozen=True):
    """One act: its words, its time, and from when to when it counts, s after the first act."""

    text: str
    at_s: float
    opens_s: float
    closes_s: float


class ActSeen(msgspec.Struct, frozen=True):
    """Where an act was seen, with half-width, s; ``act``: its words."""

    act: str
    at_s: float
    u_s: float


class ActTrack(msgspec.Struct, frozen=True):
    """The drawing, and its scale: ``begin_s`` stands at ``left`` px, ``end_s`` at ``right`` px, of ``width`` px."""

    svg: str
    begin_s: float
    end_s: float
    left: float
    right: float
    width: int


def act_track(
    acts: Sequence[ActWindow],
    seen: Sequence[ActSeen] = (),
    *,
    lead_s: float = 0.0,
    size: Size | None = None,
    look: Look = Look.PAGE,
) -> ActTrack:
    """Acts as rows under one another: a ribbon for the window, a line for its time, a bar for what was seen.

    Args: lead_s: time shown before the first act, s (the count-in).
    """
    size = size or Size()
    drawing = Drawing(size, look)
    left, right = min(size.width * 0.42, size.letters * 13.0), size.width - 16.0
    end = max([a.closes_s for a in acts] + [s.at_s + s.u_s for s in seen], default=1.0)
    scale = Scale(-lead_s, max(end, 1.0), left, right)
    top = size.line * 0.5
    for n, act in enumerate(acts):
        _row(drawing, scale, n, act, top + n * _ROW)
    _seen(drawing, scale, acts, seen, top)
    bottom = top + max(1, len(acts)) * _ROW
    _axis(drawing, scale, bottom)
    told = "; ".join(_told(act, seen) for act in acts) or "no acts"
    svg = drawing.finish(bottom + size.line * 1.6, "Acts by hand along time", told)
    return ActTrack(svg, scale.low, scale.high, left, right, size.width)


def _row(drawing: Drawing, scale: Scale, n: int, act: ActWindow, y: float) -> None:
    letters = drawing.size.letters
    middle = y + _ROW / 2
    name = cut_short(f"{n + 1}  {act.text}", scale.start - 18.0, letters)
    drawing.text(8.0, middle + letters * 0.35, name)
    drawing.line(scale.start, middle, scale.stop, middle, "gap", thick=3.0)
    begin, end = scale.at(act.opens_s), scale.at(act.closes_s)
    drawing.rect(begin, y + 5.0, max(3.0, end - begin), _ROW - 10.0, "band", round_px=3)
    drawing.frame(begin, y + 5.0, max(3.0, end - begin), _ROW - 10.0, "edge", thick=1.2)
    x = scale.at(act.at_s)
    drawing.line(x, y + 2.0, x, y + _ROW - 2.0, "edge", thick=2.0)


def _seen(drawing: Drawing, scale: Scale, acts: Sequence[ActWindow], seen: Sequence[ActSeen], top: float) -> None:
    """Each sighting on the row of its act; the same words twice go to the next such row."""
    used = set[int]()
    for one in seen:
        row = next((n for n, a in enumerate(acts) if a.text == one.act and n not in used), None)
        if row is None:
            continue
        used.add(row)
        fits = acts[row].opens_s <= one.at_s <= acts[row].closes_s
        y = top + row * _ROW + _ROW / 2
        wide = max(4.0, scale.at(one.at_s + one.u_s) - scale.at(one.at_s - one.u_s))
        role = "trace" if fits else "fail"
        x = scale.at(one.at_s)
        drawing.rect(x - wide / 2, y - 6.0, wide, 12.0, role, round_px=2)
        if not fits:
            words, letters = "outside", drawing.size.letters * 0.85
            room = x + wide / 2 + 6.0 + width_of(words, letters) < drawing.size.width
            place, anchor = (x + wide / 2 + 6.0, "start") if room else (x - wide / 2 - 6.0, "end")
            drawing.text(place, y + letters * 0.35, words, "fail", anchor=anchor, scale=0.85)


def _axis(drawing: Drawing, scale: Scale, y: float) -> None:
    letters = drawing.size.letters
    drawing.line(scale.start, y, scale.stop, y, "axis")
    for value in ticks(scale.low, scale.high, 6):
        x = scale.at(value)
        drawing.line(x, y, x, y + 5, "axis")
        text = f"{value:g}"
        if x + width_of(text, letters) < scale.stop:
            drawing.text(x, y + letters + 6, text, "soft", anchor="middle")
    drawing.text(scale.stop, y + letters + 6, "s", "soft", anchor="end")


def _told(act: ActWindow, seen: Sequence[ActSeen]) -> str:
    found = next((s for s in seen if s.act == act.text), None)
    done = f", seen at {found.at_s:.1f} s" if found else ""
    return f"{act.text}: at {act.at_s:g} s, counts from {act.opens_s:g} to {act.closes_s:g} s{done}"
