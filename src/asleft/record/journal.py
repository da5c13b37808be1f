"""The Journal: append-only, chained, durable before a call returns; one database per data folder, many jobs.

Example::

    journals = open_journal(Path("data"), key=SigningKey.load_or_make(Path("data")))
    journal = journals.create("GSM-2031-0417", source=link, clock=clock)
    journal.append(body, actor="R. Okafor")
    receipt = journal.intend(intent)      # durable now
    journal.redeem(receipt)               # once

The origin of a job is what its link says of itself when the job is made; nothing sets it later.
"""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from asleft.event.envelope import decode
from asleft.model.errors import Code, RecordError
from asleft.model.origin import Origin
from asleft.ports.clock import Clock

from .chain import read_chain
from .database import Database, open_for_writing
from .job_journal import JobJournal, Place
from .keys import SigningKey
from .lease import JobLease, checked_number

_LAST_EVENTS = """
SELECT job, stored FROM event AS e
WHERE sequence = (SELECT max(sequence) FROM event WHERE job = e.job)
  AND EXISTS (SELECT 1 FROM personal WHERE job = e.job)
ORDER BY job
"""


_LOG_KEPT = "erased, but another program was reading and the log still holds the old bytes: erase once more"


class HasOrigin(Protocol):
    """A link, a conversation or signals: anything that says where its data comes from."""

    @property
    def origin(self) -> Origin:
        """Vehicle, bench or replay."""
        ...


class Journals:
    """The journals of one data folder, for writing. Made by ``open_journal``."""

    def __init__(self, folder: Path, database: Database, key: SigningKey | None = None) -> None:
        self._folder = folder
        self._key = key
        self._database = database

    def list_jobs(self) -> tuple[str, ...]:
        """Numbers of all jobs, in the order they would be sorted."""
        return tuple(str(row[0]) for row in self._database.rows("SELECT job FROM job ORDER BY job"))

    def create(self, job: str, *, source: HasOrigin | None, clock: Clock) -> JobJournal:
        """Begin a job and take its lease.

        Args: source: the link (or conversation, or signals) the job lives on: it says the origin. None: a job
            without a link, beside a tester or by hand; that is a vehicle.
        Raises: InputError: job-number. RecordError: job-in-use, job-exists, journal-unwritable.
        """
        lease = JobLease(self._folder, job)
        try:
            origin = Origin.VEHICLE if source is None else source.origin
            with self._database.one_commit():
                if self._origin_of(job) is not None:
                    raise RecordError(Code.JOB_EXISTS, job, str(self._folder))
                self._database.rows("INSERT INTO job (job, origin) VALUES (?, ?)", (job, origin.value))
            return JobJournal(Place(self._database, lease, job, origin, self._key), [], clock=clock)
        except BaseException:
            lease.give_back()
            raise

    def reopen(self, job: str, *, source: HasOrigin | None, clock: Clock) -> JobJournal:
        """Go on with a job: its chain is checked whole, its lease taken. Intents of before give no receipts.

        Args: source: as for ``create``; None to write without a link (to close, to note).
        Raises: RecordError: job-unknown, job-in-use, record-damaged, journal-unwritable; origin-differs when the link
            is not of the job's kind.
        """
        origin = self._origin_of(checked_number(job))
        if origin is None:
            raise RecordError(Code.JOB_UNKNOWN, job, str(self._folder))
        if source is not None and source.origin is not origin:
            raise RecordError(
                Code.ORIGIN_DIFFERS, f"the job is of {origin.value}, the link of {source.origin.value}", job
            )
        lease = JobLease(self._folder, job)
        try:
            links = read_chain(self._database, job)
            return JobJournal(Place(self._database, lease, job, origin, self._key), links, clock=clock)
        except BaseException:
            lease.give_back()
            raise

    def erase(self, job: str, *, reason: str, by: str, wall: str) -> int:
        """Erase the personal values of a job for good; its chain and its seals still hold.

        Copies given away and backups are not reached. That something was erased, why and by whom is kept.

        Args: wall: time of day, RFC 3339.
        Returns: how many values there were.
        Raises: RecordError: job-unknown, job-in-use, journal-unwritable, also when another program reads just then, so
            that the write-ahead log keeps the old bytes: erase again.
        """
        if self._origin_of(checked_number(job)) is None:
            raise RecordError(Code.JOB_UNKNOWN, job, str(self._folder))
        lease = JobLease(self._folder, job)
        try:
            with self._database.one_commit():
                count = len(self._database.rows("DELETE FROM personal WHERE job = ? RETURNING 1", (job,)))
                self._database.rows("INSERT INTO erasure VALUES (?, ?, ?, ?, ?)", (job, wall, reason, by, count))
            if self._database.rows("PRAGMA wal_checkpoint(TRUNCATE)")[0][0]:
                raise RecordError(Code.JOURNAL_UNWRITABLE, _LOG_KEPT, str(self._folder))
        finally:
            lease.give_back()
        return count

    def due_for_erasure(self, *, today: str, years: int) -> tuple[str, ...]:
        """Jobs whose last event is older than ``years`` and whose personal values are still there.

        Args: today: RFC 3339. years: how long the workshop keeps them (its own policy; at least 7 is common practice,
            no source).
        Raises: RecordError: journal-unwritable.
        """
        limit = f"{int(today[:4]) - years:04d}{today[4:]}"
        rows = self._database.rows(_LAST_EVENTS)
        return tuple(str(job) for job, stored in rows if decode(stored).wall < limit)

    def close(self) -> None:
        """Close the database file; journals still out can write no more."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _origin_of(self, job: str) -> Origin | None:
        rows = self._database.rows("SELECT origin FROM job WHERE job = ?", (job,))
        return Origin(str(rows[0][0])) if rows else None


def open_journal(folder: Path, *, key: SigningKey | None = None, vfs: str | None = None) -> Journals:
    """The journals of a data folder; the folder and its database are made on first use.

    Args:
        key: seals every 64th event and the closing one as they are written; None: they are sealed on export.
        vfs: name of a SQLite file layer, for tests that let a disk fail.
    Raises: RecordError: journal-unwritable.
    """
    return Journals(folder, open_for_writing(folder, vfs), key)


__all__ = ["HasOrigin", "JobJournal", "Journals", "open_journal"]
