"""Seals: the signature under every 64th event and under the last, so that a record is signed as it grows.

A segment is the events from one seal to the next. A seal signs the hash of its last event, and with it everything
before. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import rfc8785

from .ed25519 import message_of
from .key_history import Signer

#: Events in a full segment.
SEGMENT = 64


class Seal(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A signature under an event.

    Attributes:
        sequence, hash: of the event.
        public: key that signed, one line of text.
        signature: over the hash's digits and a line end, base64.
    """

    sequence: int
    hash: str
    public: str
    signature: str


def due(count: int) -> tuple[int, ...]:
    """Sequences that must be sealed in a record of ``count`` events: every 64th and the last."""
    full = range(SEGMENT, count + 1, SEGMENT)
    return tuple(full) if count % SEGMENT == 0 else (*full, count)


def sealed(sequence: int, digest: str, key: Signer) -> Seal:
    """The seal of one event."""
    return Seal(sequence, digest, key.public, key.sign(message_of(digest)))


def seal_lines(seals: Sequence[Seal]) -> bytes:
    """``seals.jsonl``: a seal a line, canonical JSON."""
    return b"".join(rfc8785.dumps(msgspec.to_builtins(seal)) + b"\n" for seal in seals)
