"""Checking a record, for faces."""

from __future__ import annotations

from pathlib import Path

import msgspec

from asleft.record.findings import Findings
from asleft.record.verify import verify


def check_record(path: Path, *, held_head: str = "", public_key: bytes = b"") -> Findings:
    """Check a record. Raises InputError or RecordError when the file cannot be read at all."""
    return verify(path, held_head=held_head, public_key=public_key)


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
        result,
        *(f"  {f.text}" for f in findings.findings),
        *(f"note: {note.text}" for note in findings.notes),
    )
