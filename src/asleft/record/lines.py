"""The lines of ``events.jsonl``: each with its place, its hash and what it says of itself, good or bad."""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from asleft.event.envelope import Event, decode, event_hash
from asleft.model.errors import RecordError

from .canonical import is_canonical

#: Longest line that is looked at.
LINE_LIMIT = 64 * 1024 * 1024


class Claim(msgspec.Struct):
    """What a line says of itself, read as forgivingly as can be; ``sequence`` None: it cannot be read."""

    job: str = ""
    sequence: int | None = None
    previous: str = ""


class Line(NamedTuple):
    """One line.

    Attributes:
        number: from 1.
        start, stop: byte range without the line end.
        hash: SHA-256 of those bytes.
        event: None when it is not an event that this program reads.
        claim: what it says of itself; empty values where it cannot be read.
        problem: why it is not an event as it should be stored; empty when it is.
    """

    number: int
    start: int
    stop: int
    hash: str
    event: Event | None
    claim: Claim
    problem: str

    def place(self) -> dict[str, object]:
        """For a finding about this line."""
        event = self.number if self.claim.sequence is None else self.claim.sequence
        return {
            "member": "events.jsonl",
            "event": event,
            "line": self.number,
            "start": self.start,
            "stop": self.stop,
        }


def split(content: bytes) -> list[Line]:
    """All lines. A rest without a line end counts as a line with a problem."""
    lines: list[Line] = []
    start = 0
    while start < len(content):
        stop = content.find(b"\n", start)
        ended = stop >= 0
        stop = stop if ended else len(content)
        lines.append(_line(len(lines) + 1, start, content[start:stop], ended=ended))
        start = stop + 1
    return lines


def _line(number: int, start: int, stored: bytes, *, ended: bool) -> Line:
    event, problem = _event(stored)
    if not ended:
        problem = "the last line has no line end"
    claim = _claim(stored) if event is None else Claim(event.job, event.sequence, event.previous)
    return Line(number, start, start + len(stored), event_hash(stored), event, claim, problem)


def _event(stored: bytes) -> tuple[Event | None, str]:
    if len(stored) > LINE_LIMIT:
        return None, f"longer than {LINE_LIMIT} bytes"
    try:
        event = decode(stored)
    except (RecordError, RecursionError) as error:
        return None, error.detail if isinstance(error, RecordError) else "nested too deeply"
    return event, "" if is_canonical(stored) else "not canonical JSON (RFC 8785)"


def _claim(stored: bytes) -> Claim:
    if len(stored) > LINE_LIMIT:
        return Claim()
    try:
        return msgspec.json.decode(stored, type=Claim)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return Claim()
