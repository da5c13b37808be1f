"""The envelope around every event and its stored bytes (record format v1; v0 is read as well).

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
from .older import OldBody, upcast

#: What is written.
FORMAT = "asleft-record-v1"
#: What is read, oldest first. A record begun in an older format goes on in a newer one, never back.
FORMATS = ("asleft-record-v0", FORMAT)
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


class _Kind(msgspec.Struct, frozen=True):
    type: str


class Header(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An envelope whose body is not looked into, but for its type; fields as of ``Event``."""

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
    body: _Kind


_DECODER = msgspec.json.Decoder(Event)
_HEADER_DECODER = msgspec.json.Decoder(Header)
_TAGS = frozenset(str(kind.__struct_config__.tag) for kind in (*Body.__args__, OldBody))


def stored_bytes(event: Event) -> bytes:
    """The bytes that are hashed, signed and kept: one line of canonical JSON without a line end.

    Source: RFC 8785 (JSON Canonicalization Scheme).
    """
    return rfc8785.dumps(cast("dict[str, object]", msgspec.to_builtins(event)))  # pyright: ignore[reportArgumentType]


def event_hash(stored: bytes) -> str:
    """SHA-256 of an event's stored bytes, lower-case hexadecimal."""
    return hashlib.sha256(stored).hexdigest()


def decode(stored: bytes) -> Event:
    """Read stored bytes; an older version of an event comes out as its present one.

    Raises: RecordError (record-damaged): not an event of a known format, type and version.
    """
    try:
        event = _DECODER.decode(stored)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        event = _upcast(stored)
        if event is None:
            raise RecordError(Code.RECORD_DAMAGED, str(error)) from error
    if event.format not in FORMATS:
        raise RecordError(Code.RECORD_DAMAGED, f"format {event.format!r} is not known")
    return event


def header_of(stored: bytes) -> Header:
    """The envelope of stored bytes, whatever its body is.

    Raises: RecordError (record-damaged): not an envelope of a known format, or a body without a type.
    """
    try:
        header = _HEADER_DECODER.decode(stored)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise RecordError(Code.RECORD_DAMAGED, str(error)) from error
    if header.format not in FORMATS:
        raise RecordError(Code.RECORD_DAMAGED, f"format {header.format!r} is not known")
    return header


def is_known(kind: str) -> bool:
    """Whether this program knows events of a type and version (``name@version``)."""
    return kind in _TAGS


def kind_of(event: Event, stored: bytes) -> str:
    """``name@version`` as it is stored, which differs from ``type_of`` for an older version."""
    kind = type_of(event.body)
    return kind if f'"type":"{kind}"'.encode() in stored else header_of(stored).body.type


def from_plain(plain: dict[str, object]) -> Event:
    """An event from parsed JSON, upcast where it is old. Raises msgspec.ValidationError."""
    try:
        return msgspec.convert(plain, Event)
    except msgspec.ValidationError:
        old = _old_body(plain)
        if old is None:
            raise
        return msgspec.convert({**plain, "body": msgspec.to_builtins(upcast(old))}, Event)


def _old_body(plain: dict[str, object]) -> OldBody | None:
    try:
        return msgspec.convert(plain.get("body"), OldBody)
    except msgspec.ValidationError:
        return None


def _upcast(stored: bytes) -> Event | None:
    try:
        return from_plain(msgspec.json.decode(stored, type=dict[str, object]))
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return None


def type_of(body: Body) -> str:
    """``name@version`` of an event body."""
    return str(body.__struct_config__.tag)
