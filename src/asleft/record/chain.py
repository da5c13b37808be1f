"""Reading events back from the database, with every link of the chain checked on the way."""

from __future__ import annotations

from typing import NamedTuple

from asleft.event.envelope import GENESIS, Event, decode, event_hash
from asleft.model.errors import Code, RecordError

from .database import Database


class Link(NamedTuple):
    """One stored event.

    Attributes:
        event: as decoded.
        hash: SHA-256 of ``stored``, hexadecimal.
        stored: the bytes that are chained and exported.
    """

    event: Event
    hash: str
    stored: bytes


def read_chain(database: Database, job: str, after: int = 0, previous: str = GENESIS) -> list[Link]:
    """Events of a job with a sequence above ``after``, each checked against the hash of the one before.

    Args: previous: hash of event ``after``; 64 zeros for the beginning.
    Raises: RecordError: record-damaged, naming the first event that does not fit.
        journal-unwritable: the file cannot be read.
    """
    links: list[Link] = []
    rows = database.rows(
        "SELECT sequence, hash, stored FROM event WHERE job = ? AND sequence > ? ORDER BY sequence", (job, after)
    )
    for sequence, kept, stored in rows:
        link = Link(decode(stored), event_hash(stored), stored)
        expected = after + len(links) + 1
        whole = (link.hash, link.event.sequence, link.event.previous, link.event.job) == (kept, sequence, previous, job)
        if sequence != expected or not whole:
            raise RecordError(Code.RECORD_DAMAGED, f"event {expected} does not follow the one before it", job)
        links.append(link)
        previous = link.hash
    return links
