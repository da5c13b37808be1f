"""The lines of ``events.jsonl``: each with its place, its hash and what it says of itself, good or bad."""

from __future__ import annotations

import re
from typing import NamedTuple

import msgspec

from asleft.event.body import SamplesPart, SamplesTaken
from asleft.event.envelope import Event, Header, decode, event_hash, header_of, is_known, kind_of
from asleft.model.errors import RecordError

from .canonical import is_canonical

_KIND = re.compile(r"[a-z]+(-[a-z]+)*@[1-9][0-9]*")

#: Longest line that is looked at.
LINE_LIMIT = 64 * 1024 * 1024


class Claim(msgspec.Struct):
    """What a line says of itself, read as forgivingly as can be; ``sequence`` None: it cannot be read."""

    job: str = ""
    sequence: int | None = None
    previous: str = ""


class _Sized(msgspec.Struct):
    times_s: tuple[float, ...]
    chunks: tuple[str, ...] = ()
    count: int | None = None


class _Series(msgspec.Struct):
    series: tuple[_Sized, ...]


class _Samples(msgspec.Struct):
    body: _Series


_SAMPLES = msgspec.json.Decoder(_Samples)


class Line(NamedTuple):
    """One line.

    Attributes:
        number: from 1.
        start, stop: byte range without the line end.
        hash: SHA-256 of those bytes.
        event: None when it is not an event that this program reads.
        header: its envelope, also of an event of a type that this program does not know; None when it is none.
        kind: ``name@version`` as stored; empty without an envelope.
        claim: what it says of itself; empty values where it cannot be read.
        problem: why it is not an event as it should be stored; empty when it is.
        sizes: samples of each of its series, in chunks or not.
        chunked: of each series in chunks their names, and the number of samples it says.
    """

    number: int
    start: int
    stop: int
    hash: str
    event: Event | None
    header: Header | Event | None
    kind: str
    claim: Claim
    problem: str
    sizes: tuple[int, ...] = ()
    chunked: tuple[tuple[tuple[str, ...], int], ...] = ()

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
    event, header, kind, problem = _event(stored)
    if not ended:
        problem = "the last line has no line end"
    claim = _claim(stored) if header is None else Claim(header.job, header.sequence, header.previous)
    stop, digest = start + len(stored), event_hash(stored)
    line = Line(number, start, stop, digest, event, header, kind, claim, problem)
    return _sized(line, stored) if event and isinstance(event.body, SamplesTaken | SamplesPart) else line


def _sized(line: Line, stored: bytes) -> Line:
    """The same with what it says of its samples."""
    try:
        series = _SAMPLES.decode(stored).body.series
    except msgspec.MsgspecError as error:
        return line._replace(event=None, problem=line.problem or str(error))
    if any(each.chunks and (each.times_s or each.count is None) for each in series):
        return line._replace(problem=line.problem or "a series of samples is not in its form")
    sizes = tuple(each.count or 0 if each.chunks else len(each.times_s) for each in series)
    return line._replace(sizes=sizes, chunked=tuple((each.chunks, each.count or 0) for each in series if each.chunks))


def _event(stored: bytes) -> tuple[Event | None, Header | Event | None, str, str]:
    """The event, its envelope, its type, and why it is not as it should be."""
    if len(stored) > LINE_LIMIT:
        return None, None, "", f"longer than {LINE_LIMIT} bytes"
    problem = "" if is_canonical(stored) else "not canonical JSON (RFC 8785)"
    try:
        event = decode(stored)
        return event, event, kind_of(event, stored), problem
    except RecursionError:
        return None, None, "", "nested too deeply"
    except RecordError as error:
        header = _strange(stored)
        if header is None:
            return None, None, "", error.detail
        return None, header, header.body.type, problem


def _strange(stored: bytes) -> Header | None:
    """The envelope of an event whose type this program does not know: a newer program wrote it."""
    try:
        header = header_of(stored)
    except (RecordError, RecursionError):
        return None
    return None if is_known(header.body.type) or not _KIND.fullmatch(header.body.type) else header


def _claim(stored: bytes) -> Claim:
    if len(stored) > LINE_LIMIT:
        return Claim()
    try:
        return msgspec.json.decode(stored, type=Claim)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return Claim()
