"""A job's record as one file to give away: events as stored, seals, the head and its signature, keys."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

from asleft.event.envelope import event_hash
from asleft.model.errors import Code, RecordError

from .ed25519 import from_text, message_of, public_pem
from .files import put_file
from .keys import SigningKey
from .plainzip import packed
from .seals import Seal, due, seal_lines, sealed

EVENTS = "events.jsonl"
HEAD = "head"
SIGNATURE = "head.sig"
KEY = "key.pem"
SEALS = "seals.jsonl"
KEYS = "keys.jsonl"


class Sealable(Protocol):
    """A journal, as far as an export needs it."""

    def stored(self) -> tuple[bytes, ...]:
        """Stored bytes of all events so far, in order."""
        ...

    def seal(self, key: SigningKey) -> tuple[Seal, ...]:
        """The seals of all events that are due, made with ``key`` where they are missing."""
        ...


def record_members(stored: Sequence[bytes], key: SigningKey, seals: Sequence[Seal] | None = None) -> dict[str, bytes]:
    """The files of a record, by name, in their order.

    Args:
        stored: stored bytes of every event, in order, at least one.
        key: the workshop's key, with its history.
        seals: those of before; None: all made now.
    Raises: RecordError: record-damaged for a job without events.
    """
    if not stored:
        raise RecordError(Code.RECORD_DAMAGED, "a job without events has no record")
    if seals is None:
        seals = [sealed(n, event_hash(stored[n - 1]), key.signer) for n in due(len(stored))]
    return {
        EVENTS: b"".join(line + b"\n" for line in stored),
        HEAD: message_of(seals[-1].hash),
        SIGNATURE: base64.b64decode(seals[-1].signature),
        KEY: public_pem(from_text(seals[-1].public)),
        SEALS: seal_lines(seals),
        KEYS: key.history,
    }


def export_record(journal: Sealable, key: SigningKey, path: Path) -> str:
    """Write a job's record as a plain zip; the same events, seals and keys give the same bytes.

    Returns: the head hash, hexadecimal: what stands on the customer's copy.
    Raises: RecordError: record-damaged for a job without events; journal-unwritable when the file cannot be written.
    """
    stored = journal.stored()
    members = record_members(stored, key, journal.seal(key) if stored else None)
    put_record(path, members)
    return members[HEAD].decode("ascii").strip()


def put_record(path: Path, members: Mapping[str, bytes]) -> None:
    """Write the files of a record as a plain zip. Raises RecordError (journal-unwritable)."""
    try:
        put_file(path, packed(members), 0o644)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(path)) from error
