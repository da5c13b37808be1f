"""Checking a record, for faces."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import msgspec

from asleft.record.findings import Findings
from asleft.record.timestamp import Stamp
from asleft.record.verify import verify


class Elsewhere(NamedTuple):
    """What the reader holds from elsewhere; empty where nothing.

    Attributes:
        head: hash from the customer's copy, hexadecimal.
        key: public key of the workshop (PEM).
        history: the history of keys that it publishes.
        authority: certificates (PEM) whose time stamps are believed.
    """

    head: str = ""
    key: bytes = b""
    history: bytes = b""
    authority: bytes = b""


def check_record(path: Path, held: Elsewhere = Elsewhere()) -> Findings:  # noqa: B008 - frozen
    """Check a record. Raises InputError or RecordError when what is held cannot be used."""
    return verify(path, held_head=held.head, public_key=held.key, key_history=held.history, authority=held.authority)


def findings_json(findings: Findings) -> str:
    """Findings as JSON text."""
    return msgspec.json.format(msgspec.json.encode(findings), indent=2).decode()


def findings_lines(findings: Findings) -> tuple[str, ...]:
    """Findings as lines to read: what was checked, what does not hold, what checking does not show."""
    job = f"job {findings.job}, " if findings.job else ""
    head = (
        f"{findings.path}: {job}{findings.events} events, origin {findings.origin or 'unknown'}",
        f"head {findings.head or '(none)'}",
        f"key  {findings.key or '(none)'} (SHA-256 of the public key)",
    )
    result = "every check held" if findings.intact else f"{len(findings.findings)} finding(s):"
    return (
        *head,
        *([_stamp_line(findings.stamp)] if findings.stamp else []),
        result,
        *(f"  {f.text}" for f in findings.findings),
        *(f"note: {note.text}" for note in findings.notes),
    )


def _stamp_line(stamp: Stamp) -> str:
    if stamp.problem:
        return f"time stamp does not hold: {stamp.problem}"
    vouched = "vouched for by the authority given" if stamp.believed else "nobody vouches for it: give --authority"
    return f"time stamp {stamp.time} by {stamp.by}, {vouched}"
