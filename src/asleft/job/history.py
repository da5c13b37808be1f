"""The history of a workshop, for faces: jobs found, a car's jobs side by side, procedures and values over cars.

The store is a file in the data folder; ``ASLEFT_HISTORY`` gives another address (PostgreSQL for several bays or shops,
see ``docs/store.md``), then ``ASLEFT_BAY`` names this data folder in it.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from threading import Lock

import msgspec
from sqlalchemy import Engine

from asleft.figure.control_chart import ControlLimits, control_chart
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.record.database import FILE as JOURNAL
from asleft.record.store.checking import Checked, check
from asleft.record.store.filling import Damaged, Filled, fill
from asleft.record.store.found import JobFound, JobsFound, JobWhole, JudgedFound, Point, RunFound, RunOnCar, SeenFound
from asleft.record.store.opening import address_of, open_store
from asleft.record.store.reading import MOST_RUNS, car_of, job_of, judged_values, learned_values, procedures_in, runs_of
from asleft.record.store.searching import Asked, search

from .history_rates import FEWEST_FOR_TIME, Share, Times, control_limits, outside, share, times

__all__ = ["Asked", "Checked", "Damaged", "Filled", "History", "JobFound", "JobWhole", "JobsFound", "JudgedFound",
           "Point", "RunFound", "RunOnCar", "SeenFound"]  # fmt: skip

ADDRESS, BAY = "ASLEFT_HISTORY", "ASLEFT_BAY"
_OWN = "this data folder"
#: Jobs read at most while a page waits for them; the rest comes with the next.
_AT_ONCE = 200
_JUDGED = ("PASS", "FAIL", "CANNOT_TELL")


class Line(msgspec.Struct, frozen=True):
    """One thing of a car, in each of its jobs; empty where a job says nothing of it."""

    module: str
    name: str
    values: tuple[str, ...]
    changed: bool


class CarHistory(msgspec.Struct, frozen=True):
    """A car's jobs side by side, oldest first; of modules what they said as left, else as found, else as received."""

    vin: str
    jobs: tuple[JobWhole, ...]
    lines: tuple[Line, ...]


class Why(msgspec.Struct, frozen=True):
    """A reason why runs did not pass, and of how many."""

    why: str
    runs: int


class ProcedureHistory(msgspec.Struct, frozen=True):
    """Runs of a procedure over cars; intervals take the runs as independent, which repeats on one car are not.

    Attributes:
        runs, jobs: how many runs are counted, in how many jobs; at most the newest 5000 runs.
        failed: of those with a verdict. cannot_tell: of the same. not_completed: of all.
        retested: runs with a declared second attempt.
        whys: most frequent first. times: of completed runs.
        newest: the newest runs.
    """

    procedure: str
    origin: str
    runs: int
    jobs: int
    failed: Share
    cannot_tell: Share
    not_completed: Share
    retested: Share
    whys: tuple[Why, ...]
    times: Times
    newest: tuple[RunOnCar, ...]
    all_counted: bool


class ProcedureLine(msgspec.Struct, frozen=True):
    """A procedure that was run, where, and how often."""

    procedure: str
    name: str
    origin: str
    runs: int


class Chart(msgspec.Struct, frozen=True):
    """Values with their own control limits: they say whether a value behaves as before, not whether it is good.

    Attributes: left_out: values in another unit than the newest. outside: places in ``points``.
    """

    title: str
    unit: str
    points: tuple[Point, ...]
    limits: ControlLimits | None
    outside: tuple[int, ...]
    left_out: int

    def svg(self) -> str:
        """The chart as SVG."""
        days = [point.at[:10] for point in self.points] or [""]
        return control_chart(
            [point.value for point in self.points],
            self.unit,
            title=self.title,
            first=days[0],
            last=days[-1],
            limits=self.limits,
            outside=self.outside,
        )


class History:
    """The store of one data folder. Opened on first use; ``close`` lets go of it.

    Args: folder: data folder. address, bay: empty: as the environment says.
    """

    def __init__(self, folder: Path, address: str = "", bay: str = "") -> None:
        self._folder = folder
        self._said = address or os.environ.get(ADDRESS, "")
        self._bay = bay or os.environ.get(BAY, "")
        self._engine: Engine | None = None
        self._seen: object = None
        self._lock = Lock()

    @property
    def source(self) -> str:
        """The name of this data folder in the store. Raises InputError (setting-bad): a shared store needs one."""
        if self._said and not self._bay:
            raise InputError(Code.SETTING_BAD, f"a store for several needs a name for this data folder: {BAY}")
        return self._bay if self._said else _OWN

    def close(self) -> None:
        """Let go of the store; harmless a second time."""
        if self._engine is not None:
            self._engine.dispose()
            self._engine = None

    # -- keeping it true ---------------------------------------------------------------------------------------------

    def rebuild(self, told: Callable[[int, int], None] | None = None, *, anew: bool = True) -> Filled:
        """Fill it from the journals. Args: anew: every job, else those that changed. Raises RecordError."""
        with self._lock:
            return fill(self._open(), self._folder, self.source, anew=anew, told=told)

    def refresh(self) -> Filled | None:
        """Take in what is new since the last look, at most 200 jobs; None: nothing was written since.

        Raises: RecordError, InputError.
        """
        with self._lock:
            seen = tuple(_stamp(self._folder / name) for name in (JOURNAL, f"{JOURNAL}-wal"))
            if seen == self._seen:
                return None
            done = fill(self._open(), self._folder, self.source, most=_AT_ONCE)
            self._seen = None if done.left else seen
            return done

    def check(self) -> Checked:
        """Compare the store with the journals, row by row. Raises RecordError."""
        return check(self._open(), self._folder, self.source)

    # -- asking ------------------------------------------------------------------------------------------------------

    def search(self, asked: Asked) -> JobsFound:
        """Jobs, newest first. Raises InputError (setting-bad), RecordError."""
        return search(self._open(), asked)

    def job(self, number: str, source: str = "") -> JobWhole:
        """One job. Raises RecordError (job-unknown)."""
        return job_of(self._open(), number, source)

    def car(self, vin: str) -> CarHistory:
        """A car's jobs side by side. Raises RecordError (job-unknown), InputError (asked-wrongly)."""
        jobs = car_of(self._open(), vin)
        return CarHistory(jobs[-1].job.vin, jobs, _lines(jobs))

    def procedures(self) -> tuple[ProcedureLine, ...]:
        """All procedures that were run."""
        return tuple(ProcedureLine(*row) for row in procedures_in(self._open()))

    def procedure(self, procedure: str, origin: str = Origin.VEHICLE.value) -> ProcedureHistory:
        """How often a procedure fails, why, and how long it takes. Bench and cars are never mixed."""
        runs = runs_of(self._open(), procedure, _origin(origin))
        judged = [run for run in runs if run.verdict in _JUDGED]
        whys = Counter(run.why for run in runs if run.why).most_common(20)
        return ProcedureHistory(
            procedure,
            origin,
            len(runs),
            len({(run.source, run.number) for run in runs}),
            share(sum(run.verdict == "FAIL" for run in judged), len(judged)),
            share(sum(run.verdict == "CANNOT_TELL" for run in judged), len(judged)),
            share(sum(run.ended != "completed" for run in runs), len(runs)),
            share(sum(run.attempts > 1 for run in runs), len(runs)),
            tuple(Why(why, count) for why, count in whys),
            times(_completed(runs)),
            runs[:20],
            len(runs) < MOST_RUNS,
        )

    def usual_seconds(self, procedure: str, origin: str) -> float | None:
        """What a procedure took in this store, s (median of completed runs); None: fewer than five such runs."""
        found = times(_completed(runs_of(self._open(), procedure, _origin(origin))))
        return found.median_s if found.n >= FEWEST_FOR_TIME else None

    def chart_learned(self, module: str, key: str, origin: str, make: str = "", vin: str = "") -> Chart:
        """A learned or other numeric value of a module, as left, over jobs."""
        points = learned_values(self._open(), module, key, _origin(origin), make=make, vin=vin)
        return _chart(f"{module}: {key.replace('-', ' ')}, as left", points)

    def chart_judged(self, procedure: str, criterion: str, origin: str, make: str = "", vin: str = "") -> Chart:
        """The value of a criterion, over runs."""
        points = judged_values(self._open(), procedure, criterion, _origin(origin), make=make, vin=vin)
        return _chart(f"{procedure}: {criterion.replace('-', ' ')}", points)

    def _open(self) -> Engine:
        if self._engine is None:
            if not self._said:
                self._folder.mkdir(parents=True, exist_ok=True)
            self._engine = open_store(address_of(self._folder, self._said))
        return self._engine


def _origin(text: str) -> str:
    if text not in {origin.value for origin in Origin}:
        raise InputError(Code.ASKED_WRONGLY, f"origin {text!r}: vehicle, bench or replay")
    return text


def _completed(runs: tuple[RunOnCar, ...]) -> list[float]:
    return [run.seconds for run in runs if run.ended == "completed" and run.seconds is not None]


def _chart(title: str, points: tuple[Point, ...]) -> Chart:
    unit = points[-1].unit if points else ""
    kept = tuple(point for point in points if point.unit == unit)
    values = [point.value for point in kept]
    limits = control_limits(values)
    return Chart(title, unit, kept, limits, outside(values, limits), len(points) - len(kept))


def _lines(jobs: tuple[JobWhole, ...]) -> tuple[Line, ...]:
    """What modules said last in each job, thing by thing."""
    columns: list[dict[tuple[str, str, str], str]] = []
    for whole in jobs:
        last = next((p for p in ("as-left", "as-found", "as-received") if any(s.picture == p for s in whole.seen)), "")
        columns.append({(s.module, s.key, s.name): _said(s) for s in whole.seen if s.picture == last})
    keys = dict.fromkeys(key for column in columns for key in column)
    lines: list[Line] = []
    for module, key, name in sorted(keys):
        values = tuple(column.get((module, key, name), "") for column in columns)
        lines.append(Line(module, name or key, values, len({value for value in values if value}) > 1))
    return tuple(lines)


def _said(seen: SeenFound) -> str:
    return f"{seen.value} {seen.unit}".strip()


def _stamp(path: Path) -> tuple[int, int]:
    """When a file was last written, and its size; an empty one is as none: reading alone makes an empty log."""
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return (found.st_mtime_ns, found.st_size) if found.st_size else (0, 0)
