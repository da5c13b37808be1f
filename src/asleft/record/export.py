"""A job's record as one file to give away: events as stored, seals, the head and its signature, keys."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple, Protocol

import rfc8785

from asleft.event.envelope import event_hash
from asleft.model.errors import Code, RecordError

from .ed25519 import from_text, message_of, public_pem
from .files import put_file
from .keys import SigningKey
from .personal import Withheld
from .plainzip import packed
from .seals import Seal, due, seal_lines, sealed

EVENTS = "events.jsonl"
HEAD = "head"
SIGNATURE = "head.sig"
KEY = "key.pem"
SEALS = "seals.jsonl"
PERSONAL = "personal.jsonl"
STAMP = "head.tsr"
CHUNKS = "chunks/"
KEYS = "keys.jsonl"


class Record(NamedTuple):
    """All that a record is made of.

    Attributes:
        stored: stored bytes of every event, in order, at least one.
        seals: of every 64th event and the last.
        history: of the workshop's keys.
        chunks: samples by their SHA-256.
        withheld: personal values that are given along; none: a redacted record.
        stamp: time stamp over ``head`` by somebody else (RFC 3161 token); empty: none.
    """

    stored: Sequence[bytes]
    seals: Sequence[Seal]
    history: bytes
    chunks: Mapping[str, bytes] = {}
    withheld: Sequence[Withheld] = ()
    stamp: bytes = b""

    def members(self) -> dict[str, bytes]:
        """The files by name, in their order."""
        last = self.seals[-1]
        return {
            EVENTS: b"".join(line + b"\n" for line in self.stored),
            HEAD: message_of(last.hash),
            SIGNATURE: base64.b64decode(last.signature),
            KEY: public_pem(from_text(last.public)),
            SEALS: seal_lines(self.seals),
            KEYS: self.history,
            **({PERSONAL: personal_lines(self.withheld)} if self.withheld else {}),
            **({STAMP: self.stamp} if self.stamp else {}),
            **{CHUNKS + name: self.chunks[name] for name in sorted(self.chunks)},
        }


class Exportable(Protocol):
    """A journal, as far as an export needs it."""

    def stored(self) -> tuple[bytes, ...]:
        """Stored bytes of all events so far, in order."""
        ...

    def seal(self, key: SigningKey) -> tuple[Seal, ...]:
        """The seals of all events that are due, made with ``key`` where they are missing."""
        ...

    def chunks(self) -> dict[str, bytes]:
        """Chunks of samples by their SHA-256."""
        ...

    def withheld(self) -> tuple[Withheld, ...]:
        """Personal values that are not erased."""
        ...


def record_of(journal: Exportable, key: SigningKey, *, redacted: bool = False, stamp: bytes = b"") -> Record:
    """The record of a job as it stands. Raises RecordError: record-damaged for a job without events."""
    stored = journal.stored()
    if not stored:
        raise RecordError(Code.RECORD_DAMAGED, "a job without events has no record")
    withheld = () if redacted else journal.withheld()
    return Record(stored, journal.seal(key), key.history, journal.chunks(), withheld, stamp)


def record_members(stored: Sequence[bytes], key: SigningKey, seals: Sequence[Seal] | None = None) -> dict[str, bytes]:
    """The files of a record without chunks and personal values, by name.

    Args: seals: those of before; None: all made now.
    """
    if seals is None:
        seals = [sealed(n, event_hash(stored[n - 1]), key.signer) for n in due(len(stored))]
    return Record(stored, seals, key.history).members()


def export_record(
    journal: Exportable, key: SigningKey, path: Path, *, redacted: bool = False, stamp: bytes = b""
) -> str:
    """Write a job's record as a plain zip; the same events, seals and keys give the same bytes.

    Args:
        redacted: leave personal values out; the chain and the seals hold all the same.
        stamp: an RFC 3161 token over the bytes of ``head``, put in as ``head.tsr``.
    Returns: the head hash, hexadecimal: what stands on the customer's copy.
    Raises: RecordError: record-damaged for a job without events; journal-unwritable when the file cannot be written.
    """
    record = record_of(journal, key, redacted=redacted, stamp=stamp)
    put_record(path, record.members())
    return record.seals[-1].hash


def personal_lines(withheld: Sequence[Withheld]) -> bytes:
    """``personal.jsonl``: a personal value a line, canonical JSON, sorted by commitment."""
    return b"".join(rfc8785.dumps(row._asdict()) + b"\n" for row in sorted(withheld))


def put_record(path: Path, members: Mapping[str, bytes]) -> None:
    """Write the files of a record as a plain zip. Raises RecordError (journal-unwritable)."""
    try:
        put_file(path, packed(members), 0o644)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(path)) from error
