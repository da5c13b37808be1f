"""A job's record as one file to give away: events as stored, the head hash, its signature, the public key."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from asleft.event.envelope import event_hash
from asleft.model.errors import Code, RecordError

from .keys import SigningKey
from .plainzip import packed

EVENTS = "events.jsonl"
HEAD = "head"
SIGNATURE = "head.sig"
KEY = "key.pem"


class HasStored(Protocol):
    """A journal, as far as an export needs it."""

    def stored(self) -> tuple[bytes, ...]:
        """Stored bytes of all events so far, in order."""
        ...


def record_members(stored: Sequence[bytes], key: SigningKey) -> dict[str, bytes]:
    """The four files of a record, by name, in their order.

    Args: stored: stored bytes of every event, in order, at least one.
    Raises: RecordError: record-damaged for a job without events.
    """
    if not stored:
        raise RecordError(Code.RECORD_DAMAGED, "a job without events has no record")
    head = f"{event_hash(stored[-1])}\n".encode("ascii")
    return {
        EVENTS: b"".join(line + b"\n" for line in stored),
        HEAD: head,
        SIGNATURE: key.sign(head),
        KEY: key.public_pem,
    }


def export_record(journal: HasStored, key: SigningKey, path: Path) -> str:
    """Write a job's record as a plain zip; the same events and key give the same bytes.

    Returns: the head hash, hexadecimal: what stands on the customer's copy.
    Raises: RecordError: record-damaged for a job without events; journal-unwritable when the file cannot be written.
    """
    members = record_members(journal.stored(), key)
    _put(path, packed(members))
    return members[HEAD].decode("ascii").strip()


def _put(path: Path, content: bytes) -> None:
    """The whole file or the one of before, whatever happens in between."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(path)) from error
