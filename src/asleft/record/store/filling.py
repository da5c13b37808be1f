"""Filling a store from the journals of a data folder: again and again, from where it stands.

A job is read when its journal went on, or personal texts of it were erased, since it was read. Each batch of jobs is
one transaction, so a kill loses a batch and nothing else. A job whose chain does not check is taken out and named.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

import msgspec
from sqlalchemy import Connection, Engine, delete, insert, select, update

from asleft.model.errors import AsleftError
from asleft.record.database import FILE as JOURNAL
from asleft.record.database import open_for_reading
from asleft.record.tail import stored_events

from .digest import Digest, digest_of
from .opening import told_plainly
from .tables import JOB, PARTS

#: What is kept of a job changes its form with this number; then every job is read again.
FORM = 1
_BATCH = 50


class Damaged(msgspec.Struct, frozen=True):
    """A job that is not in the store, and why."""

    job: str
    why: str


class Filled(msgspec.Struct, frozen=True):
    """What a filling did: jobs read, found as they were, taken out, and not usable; ``left`` for the next time."""

    read: int
    same: int
    gone: int
    damaged: tuple[Damaged, ...]
    left: int = 0


def journal_marks(folder: Path) -> dict[str, str]:
    """Job -> head hash and how many personal texts it has: another one means that the job must be read again.

    Raises: RecordError: journal-unwritable (cannot be read).
    """
    if not (folder / JOURNAL).exists():
        return {}
    journal = open_for_reading(folder)
    try:
        if not journal.rows("SELECT 1 FROM sqlite_schema WHERE name = 'personal'"):
            return {}
        rows = journal.rows(_MARKS)
        return {str(job): f"{FORM}:{head}:{count}" for job, head, count in rows if head}
    finally:
        journal.close()


_MARKS = """
SELECT j.job, (SELECT hash FROM event WHERE job = j.job ORDER BY sequence DESC LIMIT 1),
       (SELECT count(*) FROM personal WHERE job = j.job) FROM job AS j ORDER BY j.job
"""


def fill(
    engine: Engine,
    folder: Path,
    source: str,
    *,
    anew: bool = False,
    most: int | None = None,
    told: Callable[[int, int], None] | None = None,
) -> Filled:
    """Bring the store up to the journals of one folder.

    Args:
        source: name of the folder in the store; several folders may fill one store.
        anew: read every job, also those that did not change.
        most: jobs to read at most; the rest is left for the next time.
        told: called with how many of how many are done.
    Raises: RecordError: journal-unwritable.
    """
    now = journal_marks(folder)
    with told_plainly(engine):
        before = _marks(engine, source)
        gone = [job for job in before if job not in now]
        changed = [job for job, mark in now.items() if anew or before.get(job) != mark]
        todo = changed[:most]
        _drop(engine, source, gone)
        damaged: list[Damaged] = []
        for done, batch in _batches(todo):
            damaged += _put(engine, folder, source, {job: now[job] for job in batch})
            if told:
                told(done, len(todo))
    read, left = len(todo) - len(damaged), len(changed) - len(todo)
    return Filled(read, len(now) - len(changed), len(gone), tuple(damaged), left)


@contextmanager
def writing(engine: Engine) -> Generator[Connection]:
    """A transaction that waits for other writers instead of failing beside them."""
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(1634954343)")
        else:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        yield connection


def digest_from(folder: Path, job: str) -> tuple[Digest, str] | Damaged:
    """A job's rows and head hash, or why there are none."""
    try:
        links = stored_events(folder, job)
        return digest_of([link.event for link in links]), links[-1].hash
    except AsleftError as error:
        return Damaged(job, error.sentence())
    except (LookupError, ValueError, TypeError, AttributeError) as error:
        # the chain holds, but what it says does not hang together: another program's record, or an imported one
        return Damaged(job, f"its events do not hang together ({type(error).__name__}: {error})")


def put(connection: Connection, source: str, digest: Digest, head: str, mark: str) -> None:
    """Write the rows of one job in place of those of before."""
    row = {**digest.job, "source": source, "head": head, "mark": mark}
    known = connection.scalar(select(JOB.c.id).where(JOB.c.source == source, JOB.c.number == row["number"]))
    if known is None:
        known = connection.execute(insert(JOB).values(row).returning(JOB.c.id)).scalar_one()
    else:
        connection.execute(update(JOB).where(JOB.c.id == known).values(row))
        for table in PARTS:
            connection.execute(delete(table).where(table.c.job == known))
    for table, rows in zip(PARTS, digest[1:], strict=True):
        if rows:
            connection.execute(insert(table), [{**each, "job": known} for each in rows])


def _put(engine: Engine, folder: Path, source: str, marks: Mapping[str, str]) -> list[Damaged]:
    found = {job: digest_from(folder, job) for job in marks}
    damaged = [each for each in found.values() if isinstance(each, Damaged)]
    with writing(engine) as connection:
        for job, each in found.items():
            if not isinstance(each, Damaged):
                # the job may have gone on since the marks were taken: then its mark differs and it is read once more
                put(connection, source, each[0], each[1], marks[job])
        _delete(connection, source, [each.job for each in damaged])
    return damaged


def _marks(engine: Engine, source: str) -> dict[str, str]:
    with engine.connect() as connection:
        rows = connection.execute(select(JOB.c.number, JOB.c.mark).where(JOB.c.source == source))
        return {str(number): str(mark) for number, mark in rows}


def _drop(engine: Engine, source: str, jobs: Sequence[str]) -> None:
    if jobs:
        with writing(engine) as connection:
            _delete(connection, source, jobs)


def _delete(connection: Connection, source: str, jobs: Sequence[str]) -> None:
    for job in jobs:
        connection.execute(delete(JOB).where(JOB.c.source == source, JOB.c.number == job))


def _batches(jobs: Iterable[str]) -> Iterable[tuple[int, list[str]]]:
    rest, done = iter(jobs), 0
    while batch := list(islice(rest, _BATCH)):
        done += len(batch)
        yield done, batch
