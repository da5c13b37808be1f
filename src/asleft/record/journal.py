"""The Journal: append-only, chained, durable before a call returns; one database per data folder, many jobs.

Example::

    journals = open_journal(Path("data"))
    journal = journals.create("GSM-2031-0417", source=link, clock=clock)
    journal.append(body, actor="R. Okafor")
    receipt = journal.intend(intent)      # durable now
    journal.redeem(receipt)               # once

The origin of a job is what its link says of itself when the job is made; nothing sets it later.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Protocol, Self

from asleft.event.body import Body, IntentWritten, JobClosed
from asleft.event.envelope import FORMAT, GENESIS, Event, decode, event_hash, stored_bytes, type_of
from asleft.model.effect import Intent, Receipt
from asleft.model.errors import Code, InternalError, RecordError
from asleft.model.origin import Origin
from asleft.ports.clock import Clock

from .chain import Link, read_chain
from .database import Database, open_for_writing
from .lease import JobLease, checked_number
from .receipts import ReceiptBook

#: Who causes an event when no person is named.
PROGRAM = "asleft"


class HasOrigin(Protocol):
    """A link, a conversation or signals: anything that says where its data comes from."""

    @property
    def origin(self) -> Origin:
        """Vehicle, bench or replay."""
        ...


class _Place(NamedTuple):
    """Where a journal writes and with what right."""

    database: Database
    lease: JobLease
    job: str
    origin: Origin


class JobJournal:
    """The Journal port for one job. Made by ``Journals.create`` and ``Journals.reopen`` only."""

    def __init__(self, place: _Place, links: list[Link], *, clock: Clock) -> None:
        self._database = place.database
        self._lease: JobLease | None = place.lease
        self._job = place.job
        self._origin = place.origin
        self._clock = clock
        self._head = GENESIS
        self._events: list[Event] = []
        self._counts: Counter[str] = Counter()
        self._intents: set[str] = set()
        for link in links:
            self._take(link.event, link.hash)
        self._receipts = ReceiptBook(self._job)
        self._unsure = False

    @property
    def job(self) -> str:
        """Number of the job."""
        return self._job

    @property
    def origin(self) -> Origin:
        """Where the job's data comes from, as its link said when the job was made."""
        return self._origin

    @property
    def head(self) -> str:
        """Hash of the last event, hexadecimal; 64 zeros before the first."""
        return self._head

    @property
    def closed(self) -> bool:
        """Whether the job's last event stands."""
        return bool(self._events) and isinstance(self._events[-1].body, JobClosed)

    def counts(self) -> dict[str, int]:
        """How many events of each type stand so far: what ``JobClosed`` must say."""
        return dict(self._counts)

    def events(self) -> tuple[Event, ...]:
        """All events so far, in order."""
        return tuple(self._events)

    def stored(self) -> tuple[bytes, ...]:
        """Stored bytes of all events so far, read back from the disk and checked.

        Raises: RecordError: record-damaged, journal-unwritable.
        """
        return tuple(link.stored for link in read_chain(self._database, self._job))

    def append(self, body: Body, *, actor: str = "") -> Event:
        """Write one event and return it once it is durable.

        Raises: RecordError: journal-unwritable (busy, full, read-only, given back), job-closed.
            InternalError: an event that cannot be stored, or a closing event that counts wrongly.
        """
        self._catch_up()
        self._allow(body)
        event = self._event(body, actor or PROGRAM)
        try:
            stored = stored_bytes(event)
            decode(stored)
        except (ValueError, TypeError, RecordError) as error:
            raise InternalError(Code.INTERNAL, f"{type_of(body)} cannot be stored: {error}") from error
        digest = event_hash(stored)
        self._write(event, digest, stored)
        self._take(event, digest)
        return event

    def intend(self, intent: Intent, *, actor: str = "") -> Receipt:
        """Write an intent durably and return the single-use permission to send exactly its bytes.

        Raises: as ``append``; RecordError: receipt-used when this intent stands in the record already.
        """
        if intent.id in self._intents:
            raise RecordError(Code.RECEIPT_USED, f"intent {intent.id!r} was written before")
        event = self.append(IntentWritten(intent), actor=actor)
        return self._receipts.give(intent, event.sequence)

    def redeem(self, receipt: Receipt) -> None:
        """Use a receipt up.

        Raises: RecordError: receipt-used the second time. RunError: receipt-missing for a strange or altered one.
        """
        self._receipts.use(receipt)

    def give_back(self) -> None:
        """End the lease: this journal writes no more, another may. Harmless a second time."""
        if self._lease is not None:
            self._lease.give_back()
            self._lease = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.give_back()

    def _take(self, event: Event, digest: str) -> None:
        self._head = digest
        self._events.append(event)
        self._counts[type_of(event.body)] += 1
        if isinstance(event.body, IntentWritten):
            self._intents.add(event.body.intent.id)

    def _catch_up(self) -> None:
        """After a failed write: what the disk kept after all stands in the record (an intent then has no receipt)."""
        if not self._unsure:
            return
        for link in read_chain(self._database, self._job, len(self._events), self._head):
            self._take(link.event, link.hash)
        self._unsure = False

    def _allow(self, body: Body) -> None:
        if self._lease is None:
            raise RecordError(Code.JOURNAL_UNWRITABLE, "this journal was given back", self._job)
        if self.closed:
            raise RecordError(Code.JOB_CLOSED, type_of(body), self._job)
        if isinstance(body, JobClosed) and body.counts != self._counts:
            raise InternalError(Code.INTERNAL, "the closing event counts other events than there are")

    def _event(self, body: Body, actor: str) -> Event:
        wall, trust = self._clock.wall()
        return Event(
            format=FORMAT,
            job=self._job,
            sequence=len(self._events) + 1,
            actor=actor,
            wall=wall,
            wall_trust=trust,
            monotonic_s=self._clock.now(),
            clock=self._clock.kind,
            origin=self._origin,
            previous=self._head,
            body=body,
        )

    def _write(self, event: Event, digest: str, stored: bytes) -> None:
        row = (event.job, event.sequence, event.previous, digest, stored)
        self._unsure = True
        with self._database.one_commit():
            self._database.rows("INSERT INTO event (job, sequence, previous, hash, stored) VALUES (?, ?, ?, ?, ?)", row)
        self._unsure = False


class Journals:
    """The journals of one data folder, for writing. Made by ``open_journal``."""

    def __init__(self, folder: Path, database: Database) -> None:
        self._folder = folder
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
            return JobJournal(_Place(self._database, lease, job, origin), [], clock=clock)
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
            return JobJournal(_Place(self._database, lease, job, origin), links, clock=clock)
        except BaseException:
            lease.give_back()
            raise

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


def open_journal(folder: Path, *, vfs: str | None = None) -> Journals:
    """The journals of a data folder; the folder and its database are made on first use.

    Raises: RecordError: journal-unwritable.
    """
    return Journals(folder, open_for_writing(folder, vfs))
