"""Putting a closed job's record from elsewhere into the journals of a data folder: all of it, checked, or nothing."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import msgspec

from asleft.event.body import JobClosed
from asleft.event.envelope import decode, event_hash
from asleft.model.errors import Code, RecordError

from .chain import read_chain
from .container import members_of
from .database import Database, open_for_writing
from .export import CHUNKS, EVENTS, PERSONAL, SEALS
from .findings import Findings
from .lease import JobLease, checked_number
from .personal import Withheld
from .plainzip import RefusedError
from .seals import Seal
from .verify import verify


class TakenIn(NamedTuple):
    """A job that is here now. ``new``: it was not before. ``key``: fingerprint of the key that signed it."""

    job: str
    head: str
    key: str
    new: bool


def take_in(folder: Path, record: Path) -> TakenIn:
    """Take a closed job's ``record.zip`` into the journals.

    Raises: RecordError: record-damaged when it does not check or the job is not closed in it; job-exists when another
        job of that number is here; job-in-use; journal-unwritable. InputError: job-number.
    """
    findings = verify(record)
    if not findings.intact:
        raise RecordError(Code.RECORD_DAMAGED, findings.findings[0].text, str(record))
    try:
        members, _ = members_of(record)
    except (RefusedError, OSError) as error:
        raise RecordError(Code.RECORD_DAMAGED, str(error), str(record)) from error
    stored = members[EVENTS].splitlines()
    if not findings.closed or not _known(stored):
        raise RecordError(Code.RECORD_DAMAGED, "only whole, closed jobs are taken in", str(record))
    lease = JobLease(folder, checked_number(findings.job)) if folder.is_dir() else None
    database = open_for_writing(folder)
    try:
        return _put(database, findings, members, stored)
    finally:
        database.close()
        if lease is not None:
            lease.give_back()


def _known(stored: list[bytes]) -> bool:
    """Whether this program knows every event; raises RecordError (record-damaged) for one that it does not."""
    return any(isinstance(decode(line).body, JobClosed) for line in stored)


def _put(database: Database, findings: Findings, members: dict[str, bytes], stored: list[bytes]) -> TakenIn:
    job, head = findings.job, findings.head
    taken = TakenIn(job, head, findings.key, new=True)
    with database.one_commit():
        if database.rows("SELECT 1 FROM job WHERE job = ?", (job,)):
            here = database.rows("SELECT hash FROM event WHERE job = ? ORDER BY sequence DESC LIMIT 1", (job,))
            if here and here[0][0] == head:
                return taken._replace(new=False)
            raise RecordError(Code.JOB_EXISTS, f"{job}, with other events", str(database.path))
        database.rows("INSERT INTO job (job, origin) VALUES (?, ?)", (job, findings.origin))
        for name in (name for name in members if name.startswith(CHUNKS)):
            database.rows("INSERT INTO chunk VALUES (?, ?, ?)", (job, name.removeprefix(CHUNKS), members[name]))
        for line in members.get(PERSONAL, b"").splitlines():
            row = Withheld(**msgspec.json.decode(line, type=dict[str, str]))
            database.rows("INSERT INTO personal VALUES (?, ?, ?, ?)", (job, *row))
        for number, line in enumerate(stored, 1):
            event = decode(line)
            database.rows(
                "INSERT INTO event (job, sequence, previous, hash, stored) VALUES (?, ?, ?, ?, ?)",
                (job, number, event.previous, event_hash(line), line),
            )
        for line in members[SEALS].splitlines():
            seal = msgspec.json.decode(line, type=Seal)
            row = (job, seal.sequence, seal.public, seal.signature)
            database.rows("INSERT INTO seal (job, sequence, public, signature) VALUES (?, ?, ?, ?)", row)
        read_chain(database, job)
    return taken
