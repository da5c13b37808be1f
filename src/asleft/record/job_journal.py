"""One job's journal: append, intend, redeem, seal. Made by ``Journals`` (see ``journal``), which gives it its lease."""

from __future__ import annotations

import itertools
import secrets
from collections import Counter
from collections.abc import Callable
from types import TracebackType
from typing import Any, NamedTuple, Self, cast

import msgspec

from asleft.event.body import Body, Corrected, EffectAnswered, IntentWritten, JobClosed, SamplesPart, SamplesTaken
from asleft.event.envelope import FORMAT, NO_PREVIOUS, Event, decode, event_hash, type_of
from asleft.event.streams import StreamCounts
from asleft.model.effect import Intent, Receipt
from asleft.model.errors import Code, InternalError, RecordError
from asleft.model.message import Message
from asleft.model.origin import ClockKind, Origin
from asleft.ports.clock import Clock

from .chain import Link, read_chain, read_chunks, read_withheld
from .clock_watch import ClockWatch
from .database import Database
from .keys import SigningKey
from .lease import JobLease
from .personal import PersonalBook, Withheld
from .receipts import ReceiptBook
from .seals import SEGMENT, Seal, due, sealed
from .secret import without_secrets
from .storing import CHUNK, NO_CUTS, Stored, to_stored

#: Who causes an event when no person is named.
PROGRAM = "asleft"


class Place(NamedTuple):
    """Where a journal writes, with what right, and whose key seals it as it grows (None: sealed on export)."""

    database: Database
    lease: JobLease
    job: str
    origin: Origin
    key: SigningKey | None = None


class JobJournal:
    """The Journal port for one job. Made by ``Journals.create`` and ``Journals.reopen`` only."""

    def __init__(self, place: Place, links: list[Link], *, clock: Clock) -> None:
        self._database = place.database
        self._lease: JobLease | None = place.lease
        self._job = place.job
        self._origin = place.origin
        self._key = place.key
        self._clock = clock
        self._watch = ClockWatch(clock)
        self._closed = False
        self._hashes: list[str] = []
        self._events: list[Event] = []
        self._counts: Counter[str] = Counter()
        self._samples = StreamCounts()
        self._cuts: dict[str, dict[str, list[int]]] = {}
        self._intents: set[str] = set()
        self._book = PersonalBook(self._salts(), read_withheld(place.database, place.job))
        for link in links:
            self._take(link.event, link.hash, link.kind)
            self._book.learn(cast("dict[str, Any]", msgspec.to_builtins(link.event.body)))
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
        return self._hashes[-1] if self._hashes else NO_PREVIOUS

    @property
    def closed(self) -> bool:
        """Whether the job is closed; only corrections may follow."""
        return self._closed

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

    def chunks(self) -> dict[str, bytes]:
        """Contents of the chunks of samples by their SHA-256, sorted by it."""
        return read_chunks(self._database, self._job)

    def withheld(self) -> tuple[Withheld, ...]:
        """The personal values that the record commits to and that are not erased."""
        return read_withheld(self._database, self._job)

    def append(self, body: Body, *, actor: str = "") -> Event:
        """Write one event and return it once it is durable. What stands so far is counted into a closing event.

        Raises: RecordError: journal-unwritable (busy, full, read-only, given back), job-closed.
            InternalError: an event that cannot be stored, or a closing event that counts wrongly.
        """
        self._catch_up()
        self._allow(body)
        if isinstance(body, JobClosed):
            body = self._counted(body)
        first = not self._events
        silent = first or self.closed or isinstance(body, JobClosed)
        remark = None if silent else self._watch.remark()
        if remark:
            self._put(remark, PROGRAM)
        event = self._put(body, actor or PROGRAM)
        if first and (remark := self._watch.remark()):
            self._put(remark, PROGRAM)
        return event

    def correct(self, sequence: int, message: Message, *, by: str, reason: str) -> Event:
        """Say what should stand in place of an earlier event, which stays; also after the job was closed.

        Raises: as ``append``; RecordError: record-damaged when there is no such event.
        """
        if not 1 <= sequence <= len(self._events):
            raise RecordError(Code.RECORD_DAMAGED, f"there is no event {sequence}", self._job)
        return self.append(Corrected(sequence, self._hashes[sequence - 1], message, by, reason), actor=by)

    def _put(self, body: Body, actor: str) -> Event:
        if isinstance(body, EffectAnswered):
            body = without_secrets(body)
        event = self._event(body, actor)
        try:
            cuts = self._cuts.get(_recording(body), NO_CUTS) if isinstance(body, SamplesTaken) else NO_CUTS
            ready = to_stored(event, self._book, cuts)
            decode(ready.stored)
        except (ValueError, TypeError, RecordError) as error:
            raise InternalError(Code.INTERNAL, f"{type_of(body)} cannot be stored: {error}") from error
        digest = event_hash(ready.stored)
        self._write(event, digest, ready)
        self._book.keep(ready.withheld)
        self._take(event, digest, type_of(body))
        self._watch.saw(event)
        return event

    def intend(self, intent: Intent, *, actor: str = "") -> Receipt:
        """Write an intent durably and return the single-use permission to send exactly its bytes.

        Raises: as ``append``; RecordError: receipt-used when this intent stands in the record already.
        """
        if intent.id in self._intents:
            raise RecordError(Code.RECEIPT_USED, f"intent {intent.id!r} was written before")
        event = self.append(IntentWritten(without_secrets(intent)), actor=actor)
        return self._receipts.give(intent, event.sequence)

    def redeem(self, receipt: Receipt) -> None:
        """Use a receipt up.

        Raises: RecordError: receipt-used the second time. RunError: receipt-missing for a strange or altered one.
        """
        self._receipts.use(receipt)

    def seal(self, key: SigningKey) -> tuple[Seal, ...]:
        """The seals of every 64th event and of the last, in order; those that are missing are made with ``key``.

        Raises: RecordError: journal-unwritable.
        """
        rows = self._database.rows("SELECT sequence, public, signature FROM seal WHERE job = ?", (self._job,))
        seals = {int(n): Seal(int(n), self._hashes[int(n) - 1], str(p), str(signature)) for n, p, signature in rows}
        wanted = due(len(self._events)) if self._events else ()
        missing = [sealed(n, self._hashes[n - 1], key.signer) for n in wanted if n not in seals]
        if missing:
            with self._database.one_commit():
                self._insert_seals(missing)
        seals.update({seal.sequence: seal for seal in missing})
        return tuple(seals[n] for n in wanted)

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

    def _salts(self) -> Callable[[], str]:
        """Random; for a bench in virtual time counted: nobody's data, and the same seed gives the same bytes."""
        if self._origin is not Origin.BENCH or self._clock.kind is not ClockKind.VIRTUAL:
            return lambda: secrets.token_hex(16)
        numbers = itertools.count(len(read_withheld(self._database, self._job)))
        return lambda: f"{next(numbers):032x}"

    def _take(self, event: Event, digest: str, kind: str) -> None:
        self._hashes.append(digest)
        self._events.append(event)
        self._counts[kind] += 1
        self._samples.take(event.body)
        if isinstance(event.body, SamplesPart):
            cuts = self._cuts.setdefault(_recording(event.body), {})
            for series in event.body.series:
                cuts.setdefault(series.signal, []).extend(_sizes(len(series)))
        self._closed = self._closed or isinstance(event.body, JobClosed)
        if isinstance(event.body, IntentWritten):
            self._intents.add(event.body.intent.id)

    def _catch_up(self) -> None:
        """After a failed write: what the disk kept after all stands in the record (an intent then has no receipt)."""
        if not self._unsure:
            return
        for link in read_chain(self._database, self._job, len(self._events), self.head):
            self._take(link.event, link.hash, link.kind)
        self._unsure = False

    def _allow(self, body: Body) -> None:
        if self._lease is None:
            raise RecordError(Code.JOURNAL_UNWRITABLE, "this journal was given back", self._job)
        if self.closed and not isinstance(body, Corrected):
            raise RecordError(Code.JOB_CLOSED, type_of(body), self._job)

    def _counted(self, body: JobClosed) -> JobClosed:
        """The closing event with its counts. Raises InternalError for one that counts otherwise."""
        counts, samples = dict(self._counts), self._samples
        said = (body.counts or counts, body.streams or samples.streams, body.parts or samples.parts)
        if said != (counts, samples.streams, samples.parts):
            raise InternalError(Code.INTERNAL, "the closing event counts other events than there are")
        return JobClosed(
            body.statement, body.performed_by, body.released, counts, dict(samples.streams), dict(samples.parts)
        )

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
            previous=self.head,
            body=body,
        )

    def _write(self, event: Event, digest: str, ready: Stored) -> None:
        row = (event.job, event.sequence, event.previous, digest, ready.stored)
        full = event.sequence % SEGMENT == 0 or isinstance(event.body, JobClosed)
        self._unsure = True
        with self._database.one_commit():
            for name, content in ready.chunks.items():
                self._database.rows("INSERT OR IGNORE INTO chunk VALUES (?, ?, ?)", (event.job, name, content))
            for withheld in ready.withheld:
                self._database.rows("INSERT OR IGNORE INTO personal VALUES (?, ?, ?, ?)", (event.job, *withheld))
            self._database.rows("INSERT INTO event (job, sequence, previous, hash, stored) VALUES (?, ?, ?, ?, ?)", row)
            if full and self._key:
                self._insert_seals([sealed(event.sequence, digest, self._key.signer)])
        self._unsure = False

    def _insert_seals(self, seals: list[Seal]) -> None:
        for seal in seals:
            row = (self._job, seal.sequence, seal.public, seal.signature)
            self._database.rows("INSERT INTO seal (job, sequence, public, signature) VALUES (?, ?, ?, ?)", row)


def _recording(body: Body) -> str:
    """Which recording samples belong to; empty for other events."""
    return f"{body.run}/{body.name}" if isinstance(body, SamplesTaken | SamplesPart) else ""


def _sizes(count: int) -> list[int]:
    """Into what chunks a part of ``count`` samples is cut."""
    return [min(CHUNK, count - at) for at in range(0, count, CHUNK)]
