"""The report's pictures, drawn by ``asleft.figure``: number lines of criteria, strips of what was judged. Pure."""

from __future__ import annotations

from collections.abc import Set

from asleft.event.body import CriterionJudged, SamplesTaken
from asleft.figure import Look, Shade, Size, number_line, plan_track, strip
from asleft.model.reading import Series
from asleft.model.verdict import Judgement
from asleft.model.work import Plan

from .keynumbers import signal_name
from .parts import Events, Figure, Figures
from .phrases import value_text, verdict_cell
from .sources import words_of_criteria
from .traced import Traced
from .words import Words

_HALF = Size(width=600, letters=18)
_WHOLE = Size(width=1180, letters=18)
_STRIP_HEIGHT = 150


def number_lines(record: Traced, run: str, w: Words) -> list[Figures]:
    """One number line for each judgement of a run that has a value, two beside each other."""
    figures = tuple(
        Figure(
            "",
            number_line(body.judgement, size=_HALF, look=Look.PRINT),
            _alt(body.judgement, w),
            (event.sequence,),
        )
        for event, body in record.of_run(CriterionJudged, run)
        if body.judgement.value is not None
    )
    return [Figures(2, figures)] if figures else []


def strips(record: Traced, run: str, w: Words) -> list[Figures]:
    """Every signal that a criterion was computed from, drawn once, its judged windows shaded.

    A recording holds more than was judged; what stood still in it or was not asked for stands in the table of samples.
    """
    taken = {body.name: (event.sequence, body.series) for event, body in record.of_run(SamplesTaken, run)}
    groups: dict[tuple[str, ...], list[tuple[int, Judgement]]] = {}
    for event, body in record.of_run(CriterionJudged, run):
        if names := tuple(n for n in body.judgement.samples if n in taken):
            groups.setdefault(names, []).append((event.sequence, body.judgement))
    begun = [body for _, body in record.runs if body.run == run]
    words = words_of_criteria(begun[0]) if begun else {}
    figures: list[Figure] = []
    for names, judged in groups.items():
        events = tuple(sorted({*(taken[n][0] for n in names), *(number for number, _ in judged)}))
        series = [s for name in names for s in taken[name][1]]
        for each in _by_signal(series):
            of_it = [(n, j) for n, j in judged if each.signal in _computed_from(series, words.get(j.criterion))]
            if of_it:
                figures.append(_strip(each, of_it, events, w))
    return [Figures(1, tuple(figures))] if figures else []


def plan_figure(plan: Plan, events: Events, w: Words) -> list[Figures]:
    """The plan as a track of car states with minutes."""
    if not plan.steps:
        return []
    drawn = plan_track(plan, size=_WHOLE, look=Look.PRINT)
    alt = w("figure.plan", steps=", ".join(s.name for s in plan.steps))
    return [Figures(1, (Figure("", drawn, alt, events),))]


def _strip(series: Series, judged: list[tuple[int, Judgement]], events: Events, w: Words) -> Figure:
    windows = dict.fromkeys(j.window_s for _, j in judged if j.window_s)
    shades = [Shade(window[0], window[1], w("figure.judged")) for window in windows]
    name = signal_name(series.signal)
    drawn = strip(series, title=name, shades=shades, size=_WHOLE, height=_STRIP_HEIGHT, look=Look.PRINT)
    criteria = "; ".join(dict.fromkeys(j.name for _, j in judged))
    caption = w("figure.strip", signal=name, criteria=criteria)
    return Figure(caption, drawn, caption, events)


def _computed_from(series: list[Series], words: Set[str] | None) -> set[str]:
    """Signals of a recording that a criterion names; where it names none of them all that moved; at least something."""
    there = {s.signal for s in series}
    return there & (words or frozenset()) or {s.signal for s in series if len(set(s.values)) > 1} or there


def _by_signal(series: list[Series]) -> list[Series]:
    """Recordings of one signal and unit one behind the other, so that five key cycles are one picture with gaps."""
    found: dict[tuple[str, str], Series] = {}
    for s in series:
        before = found.get((s.signal, s.unit))
        if before is None or (before.times_s and s.times_s and s.times_s[0] < before.times_s[-1]):
            found[s.signal, s.unit] = s if before is None else before
            continue
        times, values = (*before.times_s, *s.times_s), (*before.values, *s.values)
        u_time = max(before.u_time_s, s.u_time_s)
        found[s.signal, s.unit] = Series(
            s.signal, s.unit, times, values, s.resolution, s.accuracy, u_time, before.gaps + s.gaps
        )
    return list(found.values())


def _alt(judged: Judgement, w: Words) -> str:
    return w(
        "figure.number-line",
        criterion=judged.name,
        value=value_text(judged, w),
        verdict=verdict_cell(judged.verdict).text,
    )
