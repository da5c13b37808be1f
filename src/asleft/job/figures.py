"""Ready figures for faces: of a run's conditions, strips and proof, and of the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from asleft import figure
from asleft.event.fold import RunState
from asleft.model.condition import Condition, ConditionResult
from asleft.model.reading import Series
from asleft.model.verdict import Judgement
from asleft.model.work import Plan

#: Strips shown of one saved recording at most; the record holds all.
_MOST = 4

STYLESHEET = figure.STYLESHEET


def condition_bars(conditions: Sequence[Condition], results: Sequence[Mapping[str, Any]]) -> str:
    """Bars of conditions as the live feed gives them (JSON values)."""
    seen = [msgspec.convert(dict(result), ConditionResult) for result in results]
    return figure.condition_bars(conditions, seen)


def number_line(judgement: Judgement) -> str:
    """The number line of one criterion."""
    return figure.number_line(judgement)


def plan_track(plan: Plan) -> str:
    """The plan as a track of car states."""
    return figure.plan_track(plan)


class RunFigures:
    """Figures of one run."""

    def __init__(self, run: RunState) -> None:
        self._run = run

    def conditions(self) -> str:
        """Bars of the entry conditions as last written down."""
        return figure.condition_bars(self._run.conditions, tuple(self._run.results.values()))

    def strips(self) -> tuple[tuple[str, str], ...]:
        """Title and SVG of each recording worth a look; rest readings of key cycles stand in their number line."""
        found: list[tuple[str, str]] = []
        for name, saved in self._run.samples.items():
            if "/" in name:
                continue
            for series in [s for s in saved.series if len(s) > 1][:_MOST]:
                words = f"{series.signal.replace('-', ' ')}, {name.replace('/', ' ')}"
                found.append((words, figure.strip(series, title=words, shades=self._windows(series, name))))
        return tuple(found)

    def _windows(self, series: Series, name: str) -> tuple[figure.Shade, ...]:
        """Judged windows that lie in this recording."""
        first, last = series.times_s[0], series.times_s[-1]
        return tuple(
            figure.Shade(*j.window_s, j.name)
            for j in self._run.judgements
            if j.window_s is not None and name in j.samples and first <= j.window_s[0] and j.window_s[1] <= last
        )
