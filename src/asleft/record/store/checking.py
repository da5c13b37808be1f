"""Does the store say what the journals say? Every job is read again from its journal and compared row by row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, select

from .digest import Digest
from .filling import Damaged, digest_from, journal_marks
from .opening import told_plainly
from .tables import JOB, PARTS


class Differs(msgspec.Struct, frozen=True):
    """A job of which store and journal do not say the same, and in what."""

    job: str
    what: str


class Checked(msgspec.Struct, frozen=True):
    """What a check found; ``whole``: everything is as the journals say."""

    jobs: int
    differs: tuple[Differs, ...]
    damaged: tuple[Damaged, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing was found."""
        return not (self.differs or self.damaged)


def check(engine: Engine, folder: Path, source: str) -> Checked:
    """Compare a store with the journals of a folder. Raises RecordError (journal-unwritable)."""
    jobs = journal_marks(folder)
    differs: list[Differs] = []
    damaged: list[Damaged] = []
    with told_plainly(engine), engine.connect() as connection:
        differs += [Differs("", text) for text in _own(connection)]
        kept = {str(n) for n in connection.scalars(select(JOB.c.number).where(JOB.c.source == source))}
        differs += [Differs(job, "not in the journals") for job in sorted(kept - jobs.keys())]
        for job in jobs:
            digest = digest_from(folder, job)
            if isinstance(digest, Damaged):
                damaged.append(digest)
            elif job not in kept:
                differs.append(Differs(job, "not in the store"))
            else:
                differs += [Differs(job, what) for what in _differences(connection, source, *digest)]
    return Checked(len(jobs), tuple(differs), tuple(damaged))


def _own(connection: Connection) -> list[str]:
    """What the data base says of itself; PostgreSQL keeps checksums of its own."""
    if connection.dialect.name != "sqlite":
        return []
    said = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"SQLite: {text}" for text in said if text != "ok"] + (["rows without a job"] if loose else [])


def _differences(connection: Connection, source: str, digest: Digest, head: str) -> list[str]:
    number = digest.job["number"]
    kept = connection.execute(select(JOB).where(JOB.c.source == source, JOB.c.number == number)).mappings().one()
    wanted: dict[str, Any] = {**digest.job, "head": head}
    found = [f"job.{name}" for name, value in wanted.items() if kept[name] != value]
    for table, rows in zip(PARTS, digest[1:], strict=True):
        names = [column.name for column in table.columns if column.name != "job"]
        columns = [table.c[name] for name in names]
        stored = {tuple(row) for row in connection.execute(select(*columns).where(table.c.job == kept["id"]))}
        if stored != {tuple(row[name] for name in names) for row in rows}:
            found.append(table.name)
    return found
