"""Pages and their parts, rendered from the folded journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from asleft.event.fold import JobState
from asleft.job.client import JobClient
from asleft.job.figures import condition_bars, live_strip
from asleft.model.condition import ConditionResult
from asleft.model.errors import AsleftError

from .beats import beats_of
from .context import ORIGIN_WORDS, JobLine, SheetPage, TodayPage, Viewer
from .headings import TITLES, unmet
from .live import SPAN_S, LiveView
from .parts import all_parts
from .rendering import placed, render, render_plain, safe, words
from .sight import EngineSight
from .stage import in_hand, run_in_hand
from .telling import progress_words

__all__ = ["Pages", "Viewer"]

#: Live strips shown at once; what is more stands in words.
_STRIPS = 4


class Pages:
    """Renders pages for one data folder.

    Args: client: the jobs. sight: the engine. token: what every form must carry.
    """

    names = all_parts()

    def __init__(self, client: JobClient, sight: EngineSight, token: str) -> None:
        self._client = client
        self._sight = sight
        self._token = token
        self._drawn: dict[tuple[str, bool], tuple[object, str]] = {}

    async def today(
        self, viewer: Viewer, error: str = "", filled: Mapping[str, str] | None = None, chosen: Sequence[str] = ()
    ) -> str:
        """The cars in the shop, and the form to open a job."""
        engine = await self._sight.look(fresh=True)
        lines = [self._line(job, engine.job) for job in reversed(self._client.jobs())]
        jobs = tuple(sorted(lines, key=lambda line: line.state == "closed"))
        items = self._client.work_items()
        return render(
            "today.html",
            TodayPage(self._token, engine, jobs, items, error, dict(filled or {}), tuple(chosen), viewer),
        )

    async def sheet(self, job: str, viewer: Viewer, error: str = "") -> str:
        """The whole job sheet."""
        return render("sheet.html", await self.context(job, viewer, error, fresh=True))

    async def parts(self, job: str, names: Sequence[str], viewer: Viewer) -> dict[str, str]:
        """Parts of the sheet by name, all of the same moment."""
        page = await self.context(job, viewer)
        return {name: render(f"parts/{name}.html", page) for name in names}

    async def context(self, job: str, viewer: Viewer, error: str = "", *, fresh: bool = False) -> SheetPage:
        """A job as it stands; ``fresh``: ask the engine now. Raises RecordError (job-unknown)."""
        watch = self._client.watch(job)
        engine = await self._sight.look(fresh=fresh)
        return SheetPage(self._token, job, engine, watch.state, watch.head, self._client.is_signed(job), viewer, error)

    def live(self, job: str, view: LiveView, viewer: Viewer) -> dict[str, Any]:
        """Live values as one piece of the page, progress of the run in hand, beats of a sequence by hand."""
        state = self._client.watch(job).state
        run = state.runs.get(run_in_hand(state))
        known = run is not None and view.progress.get("run") == run.started.run
        words = progress_words(view.progress["progress"]) if known else None
        progress = render_plain("parts/progress.html", progress=words)
        key, place = (state.sequence, view.key), (job, viewer.narrow)
        if self._drawn.get(place, (None, ""))[0] != key:  # drawn once for all who watch
            self._drawn[place] = (key, self._values(job, view, viewer))
        beats = beats_of(run, view.beats, viewer.narrow)
        return {"html": self._drawn[place][1], "progress": progress, "beats": beats}

    def _values(self, job: str, view: LiveView, viewer: Viewer) -> str:
        state = self._client.watch(job).state
        seen = view.conditions
        run = state.runs.get(str(seen.get("run", "")))
        conditions = run.conditions if run else ()
        results = [msgspec.convert(dict(r), ConditionResult) for r in seen.get("results", ())]
        bars = condition_bars(conditions, results, narrow=viewer.narrow) if run else ""
        series = view.newest(_STRIPS)
        strips = [
            live_strip(s, words(s.signal), conditions, span_s=SPAN_S, narrow=viewer.narrow) for s in series[:_STRIPS]
        ]
        gate = str(seen.get("gate", ""))
        return render_plain(
            "parts/live.html",
            bars=safe(placed(bars, "live")),
            gate=gate,
            missing=unmet(conditions, results),
            strips=[safe(s) for s in strips],
            more=series[_STRIPS:],
        )

    @staticmethod
    def problem(title: str, text: str, advice: str) -> str:
        """Something that cannot be done, as a page."""
        return render_plain("problem.html", heading=title, text=text, advice=advice)

    def _line(self, job: str, at_work: str) -> JobLine:
        try:
            state = self._client.watch(job).state
        except AsleftError as error:
            return JobLine(job, "", "", "", "", error.sentence(), "damaged")
        vehicle = state.vehicle
        closed = state.closed
        return JobLine(
            job,
            f"{vehicle.make} {vehicle.model}".strip() if vehicle else "",
            vehicle.vin.text if vehicle else "",
            ORIGIN_WORDS[state.origin],
            TITLES.get(in_hand(state), ""),
            _waits(state, job == at_work),
            "closed" if closed else "at work" if job == at_work else "waiting",
            closed is not None and closed.released,
        )


def _waits(state: JobState, at_work: bool) -> str:
    """What the car waits for, in words."""
    if state.closed is not None:
        return state.closed.statement.text
    if not at_work:
        why = f"Stopped: {state.stopped.message.text} " if state.stopped is not None else ""
        return f"{why}Waits to be taken up again."
    question = state.waiting_for
    return f"Waits for: {question.message.text}" if question else "Being worked on."
