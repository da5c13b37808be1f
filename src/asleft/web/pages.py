"""Pages and their parts, rendered from the folded journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from asleft.event.fold import JobState, RunState
from asleft.job.client import JobClient
from asleft.job.figures import RunFigures, condition_bars, number_line, plan_track
from asleft.model.errors import AsleftError, Code, RecordError
from asleft.model.module import PictureKind
from asleft.model.origin import Origin
from asleft.model.question import Question

#: Parts of the sheet in reading order; their templates have the same names.
PARTS = ("received", "work", "found", "needs", "plan", "runs", "left", "record", "notes")

ORIGIN_WORDS = {
    Origin.VEHICLE: "vehicle",
    Origin.BENCH: "bench: simulated car",
    Origin.REPLAY: "replay of a recording",
}


@dataclass(frozen=True)
class Engine:
    """What the page knows of the engine."""

    present: bool
    origin: str = ""
    link: str = ""
    workshop: str = ""
    technician: str = ""
    job: str = ""
    bench: bool = False


@dataclass(frozen=True)
class JobLine:
    """One car on the page of today."""

    number: str
    car: str
    vin: str
    origin: str
    waits_for: str
    done: bool


@dataclass(frozen=True)
class TodayPage:
    """Context of the page of today."""

    token: str
    engine: Engine
    jobs: tuple[JobLine, ...]
    work_items: tuple[tuple[str, str], ...]
    error: str = ""
    filled: dict[str, str] = field(default_factory=dict)
    chosen: tuple[str, ...] = ()


@dataclass(frozen=True)
class SheetPage:
    """Context of the job sheet and of each of its parts."""

    token: str
    job: str
    engine: Engine
    state: JobState
    parts: tuple[str, ...]
    head: str
    question: Question | None
    running: bool
    by: str
    error: str = ""

    @property
    def origin(self) -> str:
        """Origin in words."""
        return ORIGIN_WORDS[self.state.origin]

    @property
    def received(self) -> Any:
        """Picture as received, if taken."""
        return self.state.pictures.get(PictureKind.AS_RECEIVED)

    @property
    def found(self) -> Any:
        """Picture as found, if taken."""
        return self.state.pictures.get(PictureKind.AS_FOUND)

    @property
    def left(self) -> Any:
        """Picture as left, if taken."""
        return self.state.pictures.get(PictureKind.AS_LEFT)

    def differences(self, before: str, after: str) -> Any:
        """Differences between two pictures; None when not compared."""
        return self.state.differences.get((PictureKind(before), PictureKind(after)))


class Pages:
    """Renders pages for one data folder.

    Args: client: the jobs. token: what every form must carry.
    """

    def __init__(self, client: JobClient, token: str) -> None:
        self._client = client
        self._token = token

    async def today(self, error: str = "", filled: Mapping[str, str] | None = None, chosen: Sequence[str] = ()) -> str:
        """The cars in the shop, and the form to open a job."""
        jobs = tuple(self._line(job) for job in reversed(self._client.jobs()))
        page = TodayPage(
            self._token,
            await self._engine(),
            jobs,
            self._client.work_items(),
            error,
            dict(filled or {}),
            tuple(chosen),
        )
        return render("today.html", page)

    async def sheet(self, job: str, error: str = "", by: str = "") -> str:
        """The whole job sheet."""
        return render("sheet.html", await self._page(job, error, by))

    async def part(self, job: str, name: str, by: str = "") -> str:
        """One part, or all. Raises RecordError: there is no such part."""
        if name == "all":
            return render("parts/all.html", await self._page(job, "", by))
        if name not in (*PARTS, "next"):
            raise RecordError(Code.JOB_UNKNOWN, f"part {name}")
        return render(f"parts/{name}.html", await self._page(job, "", by))

    def live(self, job: str, snapshot: Mapping[str, Any]) -> str:
        """The live values as one piece of the page."""
        state = self._client.watch(job).state
        seen: dict[str, Any] = snapshot.get("conditions") or {}
        run = state.runs.get(str(seen.get("run", "")))
        bars = condition_bars(run.conditions, seen.get("results", ())) if run and run.end is None else ""
        readings = [v for k, v in sorted(snapshot.items()) if k.startswith("reading:") and v.get("value") is not None]
        return ENVIRONMENT.get_template("parts/live.html").render(
            bars=_safe(bars),
            gate=seen.get("gate", ""),
            readings=readings,
        )

    @staticmethod
    def problem(error: AsleftError) -> str:
        """An error as a page."""
        return ENVIRONMENT.get_template("problem.html").render(error=error, title="asleft")

    # -- helpers -----------------------------------------------------------------------------------------------------

    async def _engine(self) -> Engine:
        try:
            return Engine(True, **await self._client.engine())
        except AsleftError:
            return Engine(False)

    async def _page(self, job: str, error: str, by: str) -> SheetPage:
        watch = self._client.watch(job)
        state = watch.state
        engine = await self._engine()
        running = engine.present and engine.job == job
        return SheetPage(
            token=self._token,
            job=job,
            engine=engine,
            state=state,
            parts=PARTS,
            head=self._client.head(job),
            question=state.waiting_for if running else None,
            running=running,
            by=by or engine.technician,
            error=error,
        )

    def _line(self, job: str) -> JobLine:
        state = self._client.watch(job).state
        vehicle = state.vehicle
        return JobLine(
            job,
            f"{vehicle.make} {vehicle.model}".strip() if vehicle else "",
            vehicle.vin.text if vehicle else "",
            ORIGIN_WORDS[state.origin],
            _waits_for(state),
            state.closed is not None,
        )


def _waits_for(state: JobState) -> str:
    if state.closed is not None:
        return "closed"
    if state.stopped is not None:
        return f"stopped: {state.stopped.message.text}"
    question = state.waiting_for
    return question.message.text if question else "the car"


def _figures(run: RunState) -> RunFigures:
    return RunFigures(run)


def _safe(svg: str) -> Markup:
    return Markup(svg)  # noqa: S704 - figures escape their texts themselves


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("asleft.web"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = _safe
    helpers: dict[str, Any] = {"run_figures": _figures, "number_line": number_line, "plan_track": plan_track}
    environment.globals.update(helpers)
    return environment


ENVIRONMENT = _environment()


def render(template: str, page: TodayPage | SheetPage) -> str:
    """A template with its page's context as ``page``."""
    return ENVIRONMENT.get_template(template).render(page=page, title="asleft")
