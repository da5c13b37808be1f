"""What checking a record found: exact places, and nothing that needs this program to be believed."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum, unique

import msgspec

from asleft.model.message import Message

from .timestamp import Stamp


@unique
class Flaw(StrEnum):
    """Closed list of what can be wrong with a record."""

    CONTAINER = "container"
    MEMBER = "member"
    KEY = "key"
    SIGNATURE = "signature"
    HISTORY = "history"
    SEAL = "seal"
    CHUNK = "chunk"
    PERSONAL = "personal"
    HEAD = "head"
    HELD_HEAD = "held-head"
    FORMAT = "format"
    SEQUENCE = "sequence"
    CHAIN = "chain"
    JOB = "job"
    ORIGIN = "origin"
    COUNTS = "counts"
    CORRECTION = "correction"


class Finding(msgspec.Struct, frozen=True):
    """One flaw and its place.

    Attributes:
        flaw: what kind.
        message: in words.
        member: file of the record; empty for the container.
        event: sequence the event has or should have; None when it is not about one.
        line: line of ``events.jsonl``, from 1; None likewise.
        start, stop: byte range in the member (in the container when ``member`` is empty), stop excluded; None: all.
    """

    flaw: Flaw
    message: Message
    member: str = ""
    event: int | None = None
    line: int | None = None
    start: int | None = None
    stop: int | None = None

    @property
    def text(self) -> str:
        """Place and words on one line."""
        parts = [self.member or "container"]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.start is not None:
            parts.append(f"bytes {self.start} to {self.stop}")
        return f"{', '.join(parts)}: {self.message.text}"


class Findings(msgspec.Struct, frozen=True):
    """The result of checking one record.

    Attributes:
        path: what was checked.
        findings: flaws, in the order of the files; none means that every check held.
        notes: what the checks do not show.
        job, origin, format: of the first event; empty when it cannot be read.
        events: how many lines there are.
        head: hash of the last event as it stands, hexadecimal; empty without events.
        key: SHA-256 of the public key in the record, hexadecimal; empty without one.
        closed: whether the job is closed; corrections may follow.
        chunks: how many chunks of samples there are.
        withheld: how many personal texts are committed to and not given.
        stamp: time stamp by somebody else, as checked; None: there is none. It does not bear on ``intact``.
    """

    path: str
    findings: tuple[Finding, ...]
    notes: tuple[Message, ...] = ()
    job: str = ""
    origin: str = ""
    format: str = ""
    events: int = 0
    head: str = ""
    key: str = ""
    closed: bool = False
    chunks: int = 0
    withheld: int = 0
    stamp: Stamp | None = None

    @property
    def intact(self) -> bool:
        """Whether nothing was found: signed by the key in the record and unchanged since."""
        return not self.findings


def finding(
    flaw: Flaw, name: str, template: str, place: Mapping[str, object] | None = None, **values: object
) -> Finding:
    """A finding with its message.

    Args: name: last part of the message id. place: member, event, line, start, stop. values: for the template.
    """
    message = Message(f"record.{flaw.value}.{name}", template, {key: str(value) for key, value in values.items()})
    return msgspec.convert({"flaw": flaw, "message": message, **(place or {})}, Finding, from_attributes=True)
