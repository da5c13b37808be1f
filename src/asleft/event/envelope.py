"""The envelope around every event and its stored bytes (record format v0).

Stored bytes are canonical JSON (RFC 8785) of the envelope; the hash of an event is the SHA-256 of exactly those bytes;
the next event names it as ``previous``. The first event's ``previous`` is 64 zeros.
"""

from __future__ import annotations

import hashlib
from typing import cast

import msgspec
import rfc8785

from asleft.model.errors import Code, RecordError
from asleft.model.origin import ClockKind, Origin, WallTrust

from .body import Body

FORMAT = "asleft-record-v0"
NO_PREVIOUS = "0" * 64


class Event(msgspec.Struct, frozen=True):
    """One event of one job.

    Attributes:
        job: number of the job.
        sequence: 1, 2, 3 … without a gap.
        actor: who caused it: a person's name, or ``asleft``.
        wall: RFC 3339, UTC; wall_trust: how far to believe it.
        monotonic_s: job's clock, s; clock: what kind of clock.
        origin: vehicle, bench or replay.
        previous: hash of the event before.
        body: what happened; its ``type`` is ``name@version``.
    """

    format: str
    job: str
    sequence: int
    actor: str
    wall: str
    wall_trust: WallTrust
    monotonic_s: float
    clock: ClockKind
    origin: Origin
    previous: str
    body: Body


_DECODER = msgspec.json.Decoder(Event)


def stored_bytes(event: Event) -> bytes:
    """The bytes that are hashed, signed and kept: one line of canonical JSON without a line end.

    Source: RFC 8785 (JSON Canonicalization Scheme).
    """
    return rfc8785.dumps(cast("dict[str, object]", msgspec.to_builtins(event)))  # pyright: ignore[reportArgumentType]


def event_hash(stored: bytes) -> str:
    """SHA-256 of an event's stored bytes, lower-case hexadecimal."""
    return hashlib.sha256(stored).hexdigest()


def decode(stored: bytes) -> Event:
    """Read stored bytes. Raises RecordError (record-damaged): not an event of a known format and version."""
    try:
        event = _DECODER.decode(stored)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise RecordError(Code.RECORD_DAMAGED, str(error)) from error
    if event.format != FORMAT:
        raise RecordError(Code.RECORD_DAMAGED, f"format {event.format!r} is not known")
    return event


def type_of(body: Body) -> str:
    """``name@version`` of an event body."""
    return str(body.__struct_config__.tag)
