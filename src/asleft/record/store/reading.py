"""Opening a job of the store, and comparing: a car's jobs, a procedure's runs, a value over cars."""

from __future__ import annotations

from typing import Any, TypeVar

import msgspec
from sqlalchemy import Connection, Engine, Table, func, select

from asleft.model.errors import Code, InputError, RecordError

from .found import JobFound, JobWhole, JudgedFound, Point, RunFound, RunOnCar, SeenFound
from .opening import told_plainly
from .searching import FOUND, Term, is_any
from .tables import JOB, JUDGED, RUN, SEEN, TERM
from .terms import value_of

S = TypeVar("S", bound=msgspec.Struct)

#: Jobs of one car side by side at most, and runs and values that are counted: the newest.
MOST_JOBS, MOST_RUNS, MOST_POINTS = 60, 5000, 5000


def job_of(engine: Engine, number: str, source: str = "") -> JobWhole:
    """A job. Args: source: empty: the only one that has this number. Raises RecordError (job-unknown)."""
    with told_plainly(engine), engine.connect() as connection:
        where = [JOB.c.number == number] + ([JOB.c.source == source] if source else [])
        rows = (
            connection.execute(select(JOB.c.id, *FOUND).where(*where).order_by(JOB.c.source).limit(2)).mappings().all()
        )
        if len(rows) != 1:
            sources = ", ".join(str(row["source"]) for row in rows)
            raise RecordError(Code.JOB_UNKNOWN, f"{number} is in several: {sources} …" if rows else number)
        return _whole(connection, rows[0])


def car_of(engine: Engine, vin: str) -> tuple[JobWhole, ...]:
    """The jobs of a car, oldest first; the newest 60.

    Args: vin: as on the job, whole or its last eight characters when only one car has these.
    Raises: RecordError (job-unknown). InputError (asked-wrongly): several cars end so.
    """
    wanted = value_of("vin", vin).upper()
    with told_plainly(engine), engine.connect() as connection:
        if len(wanted) < 17:
            wanted = _whole_vin(connection, wanted)
        newest = select(JOB.c.id, *FOUND).where(JOB.c.vin == wanted).order_by(JOB.c.opened.desc(), JOB.c.id.desc())
        rows = connection.execute(newest.limit(MOST_JOBS)).mappings().all() if wanted else ()
        if not rows:
            raise RecordError(Code.JOB_UNKNOWN, f"no job of a car {vin!r}")
        return tuple(_whole(connection, row) for row in reversed(rows))


def _whole_vin(connection: Connection, end: str) -> str:
    found = select(JOB.c.vin).join(TERM, TERM.c.job == JOB.c.id).where(is_any(TERM, Term("vin", (end.lower(),))))
    vins = [str(vin) for vin in connection.scalars(found.distinct().limit(2))]
    if len(vins) > 1:
        raise InputError(Code.ASKED_WRONGLY, f"several cars end in {end}; give the whole VIN")
    return vins[0] if vins else ""


def runs_of(engine: Engine, procedure: str, origin: str) -> tuple[RunOnCar, ...]:
    """Runs of a procedure over cars, newest first; the newest 5000. Args: origin: never mixed."""
    columns = (JOB.c.source, JOB.c.number, JOB.c.make, JOB.c.model)
    own = [RUN.c[n] for n in ("began", "seconds", "ended", "verdict", "why", "attempts")]
    runs = select(*columns, *own).join(JOB, JOB.c.id == RUN.c.job)
    wanted = runs.where(RUN.c.procedure == procedure, JOB.c.origin == origin)
    return _all(engine, wanted.order_by(RUN.c.began.desc(), RUN.c.job.desc(), RUN.c.place).limit(MOST_RUNS), RunOnCar)


def procedures_in(engine: Engine) -> tuple[tuple[str, str, str, int], ...]:
    """Procedure, its name, origin, and how many runs of it there are."""
    counted = select(RUN.c.procedure, func.max(RUN.c.name), JOB.c.origin, func.count())
    by = counted.join(JOB, JOB.c.id == RUN.c.job).group_by(RUN.c.procedure, JOB.c.origin)
    with told_plainly(engine), engine.connect() as connection:
        rows = connection.execute(by.order_by(RUN.c.procedure, JOB.c.origin)).all()
        return tuple((str(p), str(n), str(o), int(c)) for p, n, o, c in rows)


def learned_values(
    engine: Engine, module: str, key: str, origin: str, *, make: str = "", vin: str = ""
) -> tuple[Point, ...]:
    """A value that modules gave as left, in the order of time. Args: key: such as ``learned-lower-stop``."""
    values = select(*_where_from(), SEEN.c.at, SEEN.c.number.label("value"), SEEN.c.unit).join(
        JOB, JOB.c.id == SEEN.c.job
    )
    wanted = values.where(
        SEEN.c.module == module, SEEN.c.key == key, SEEN.c.picture == "as-left", SEEN.c.number.is_not(None)
    ).where(*_only(origin, make, vin))
    return _points(engine, wanted.order_by(SEEN.c.at.desc(), SEEN.c.job.desc()))


def judged_values(
    engine: Engine, procedure: str, criterion: str, origin: str, *, make: str = "", vin: str = ""
) -> tuple[Point, ...]:
    """A criterion's values, in the order of time."""
    columns = (JUDGED.c.at, JUDGED.c.value, JUDGED.c.unit, JUDGED.c.u)
    values = select(*_where_from(), *columns).join(JOB, JOB.c.id == JUDGED.c.job)
    wanted = values.where(
        JUDGED.c.procedure == procedure, JUDGED.c.criterion == criterion, JUDGED.c.value.is_not(None)
    ).where(*_only(origin, make, vin))
    return _points(engine, wanted.order_by(JUDGED.c.at.desc(), JUDGED.c.job.desc(), JUDGED.c.place.desc()))


def _where_from() -> tuple[Any, ...]:
    return (JOB.c.source, JOB.c.number, JOB.c.make, JOB.c.model)


def _only(origin: str, make: str, vin: str) -> list[Any]:
    only = [JOB.c.origin == origin]
    if make:
        only.append(JOB.c.make == make)
    if vin:
        only.append(JOB.c.vin == value_of("vin", vin).upper())
    return only


def _points(engine: Engine, newest: Any) -> tuple[Point, ...]:
    return tuple(reversed(_all(engine, newest.limit(MOST_POINTS), Point)))


def _all(engine: Engine, statement: Any, kind: type[S]) -> tuple[S, ...]:
    with told_plainly(engine), engine.connect() as connection:
        return tuple(kind(**row) for row in connection.execute(statement).mappings())


def _whole(connection: Connection, row: Any) -> JobWhole:
    job = JobFound(**{c.name: row[c.name] for c in FOUND})
    return JobWhole(
        job,
        _part(connection, RUN, row["id"], RunFound, "place"),
        _part(connection, SEEN, row["id"], SeenFound, "picture", "module", "kind", "key"),
        _part(connection, JUDGED, row["id"], JudgedFound, "place"),
    )


def _part(connection: Connection, table: Table, job: int, kind: type[S], *order: str) -> tuple[S, ...]:
    columns = [table.c[name] for name in kind.__struct_fields__]
    rows = connection.execute(select(*columns).where(table.c.job == job).order_by(*(table.c[n] for n in order)))
    return tuple(kind(**row) for row in rows.mappings())
