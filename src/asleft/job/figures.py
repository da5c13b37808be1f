"""Ready figures for faces: of a run's conditions, strips and proof, of the plan, and of what is measured right now.

A figure scales with its container, so a narrow screen gets figures drawn for a narrow one: letters stay as large.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft import figure
from asleft.event.fold import RunState
from asleft.model.condition import Condition, ConditionKind, ConditionResult
from asleft.model.reading import Series
from asleft.model.verdict import Judgement
from asleft.model.work import Plan

#: Strips shown of one saved recording at most; the record holds all.
_MOST = 4
_NARROW = figure.Size(width=400, letters=17)
#: Height of a live strip's field, px: several must fit above the question.
_LIVE_HEIGHT = 84

STYLESHEET = figure.STYLESHEET


def _size(narrow: bool) -> figure.Size | None:
    return _NARROW if narrow else None


def condition_bars(conditions: Sequence[Condition], results: Sequence[ConditionResult], *, narrow: bool = False) -> str:
    """Bars of conditions with their readings, margins and the time they have held."""
    return figure.condition_bars(conditions, results, size=_size(narrow))


def number_line(judgement: Judgement, *, narrow: bool = False) -> str:
    """The number line of one criterion, without its sentences: the page says them in its own letters."""
    bare = msgspec.structs.replace(judgement, sentence=None, settles=None)
    return figure.number_line(bare, size=_size(narrow))


def plan_track(plan: Plan, done: frozenset[str] = frozenset(), *, narrow: bool = False) -> str:
    """The plan as a track of car states; ``done``: functions that are done."""
    return figure.plan_track(plan, done=done, size=_size(narrow))


def live_strip(
    series: Series, title: str, conditions: Sequence[Condition] = (), *, span_s: float, narrow: bool = False
) -> str:
    """What was just measured: the last ``span_s`` seconds, with the band of the condition that asks for this signal."""
    end = series.times_s[-1] if len(series) else 0.0
    return figure.strip(
        series,
        title=title,
        band=_band(series.signal, conditions),
        span_s=(end - span_s, end),
        size=_size(narrow),
        height=_LIVE_HEIGHT,
    )


def _band(signal: str, conditions: Sequence[Condition]) -> figure.Band | None:
    level = (ConditionKind.WITHIN, ConditionKind.AT_LEAST, ConditionKind.AT_MOST)
    found = next((c for c in conditions if c.signal == signal and c.kind in level), None)
    return figure.Band(found.low, found.high) if found else None


class RunFigures:
    """Figures of one run."""

    def __init__(self, run: RunState, *, narrow: bool = False) -> None:
        self._run = run
        self._narrow = narrow

    def conditions(self) -> str:
        """Bars of the entry conditions as last written down."""
        return condition_bars(self._run.conditions, tuple(self._run.results.values()), narrow=self._narrow)

    def strips(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Name and SVGs of each recording worth a look; rest readings of key cycles stand in their number line."""
        found: list[tuple[str, tuple[str, ...]]] = []
        for name, saved in self._run.samples.items():
            seen = [s for s in saved.series if len(s) > 1][:_MOST]
            if "/" not in name and seen:
                found.append((name.replace("-", " "), tuple(self._strip(series, name) for series in seen)))
        return tuple(found)

    def _strip(self, series: Series, name: str) -> str:
        return figure.strip(series, shades=self._windows(series, name), size=_size(self._narrow))

    def _windows(self, series: Series, name: str) -> tuple[figure.Shade, ...]:
        """Judged windows that lie in this recording; one that several criteria judged is shaded once."""
        first, last = series.times_s[0], series.times_s[-1]
        names: dict[tuple[float, float], list[str]] = {}
        for j in self._run.judgements:
            if j.window_s is not None and name in j.samples and first <= j.window_s[0] and j.window_s[1] <= last:
                names.setdefault(j.window_s, []).append(j.name)
        return tuple(
            figure.Shade(*window, found[0] if len(found) == 1 else f"judged by {len(found)} criteria")
            for window, found in names.items()
        )
