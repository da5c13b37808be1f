"""Reading events back from the database, with every link of the chain checked on the way."""

from __future__ import annotations

from typing import NamedTuple

from asleft.event.envelope import NO_PREVIOUS, Event, event_hash, kind_of
from asleft.model.errors import Code, RecordError

from .database import Database
from .personal import Withheld
from .storing import from_stored


class Link(NamedTuple):
    """One stored event.

    Attributes:
        event: as decoded, whole as far as its personal values are not erased.
        hash: SHA-256 of ``stored``, hexadecimal.
        stored: the bytes that are chained and exported.
    """

    event: Event
    hash: str
    stored: bytes

    @property
    def kind(self) -> str:
        """``name@version`` as it is stored."""
        return kind_of(self.event, self.stored)


def read_chain(database: Database, job: str, after: int = 0, previous: str = NO_PREVIOUS) -> list[Link]:
    """Events of a job with a sequence above ``after``, each checked against the hash of the one before.

    Args: previous: hash of event ``after``; 64 zeros for the beginning.
    Raises: RecordError: record-damaged, naming the first event that does not fit.
        journal-unwritable: the file cannot be read.
    """
    links: list[Link] = []
    personal = {row.commitment: row.value for row in read_withheld(database, job)}
    rows = database.rows(
        "SELECT sequence, hash, stored FROM event WHERE job = ? AND sequence > ? ORDER BY sequence", (job, after)
    )
    for sequence, kept, stored in rows:
        event = from_stored(stored, lambda name: read_chunk(database, job, name), personal)
        link = Link(event, event_hash(stored), stored)
        expected = after + len(links) + 1
        whole = (link.hash, link.event.sequence, link.event.previous, link.event.job) == (kept, sequence, previous, job)
        if sequence != expected or not whole:
            raise RecordError(Code.RECORD_DAMAGED, f"event {expected} does not follow the one before it", job)
        links.append(link)
        previous = link.hash
    return links


def read_withheld(database: Database, job: str) -> tuple[Withheld, ...]:
    """The personal values of a job that are not erased."""
    rows = database.rows("SELECT commitment, salt, value FROM personal WHERE job = ? ORDER BY commitment", (job,))
    return tuple(Withheld(str(commitment), str(salt), str(value)) for commitment, salt, value in rows)


def read_chunk(database: Database, job: str, name: str) -> bytes | None:
    """The content of a chunk of a job, if it is there."""
    rows = database.rows("SELECT content FROM chunk WHERE job = ? AND hash = ?", (job, name))
    return bytes(rows[0][0]) if rows else None


def read_chunks(database: Database, job: str) -> dict[str, bytes]:
    """All chunks of a job, by hash, in order."""
    rows = database.rows("SELECT hash, content FROM chunk WHERE job = ? ORDER BY hash", (job,))
    return {str(name): bytes(content) for name, content in rows}
