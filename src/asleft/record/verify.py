"""Checking a record: a zip or a folder with its four files, from anybody.

Every flaw is named with the event, the line and the byte range. The same checks can be made with openssl and
sha256sum alone: ``docs/record-format.md``.

Example::

    result = verify(Path("record.zip"), held_head="9f2c…")
    result.intact, result.findings
"""

from __future__ import annotations

import re
from pathlib import Path

from asleft.event.body import JobClosed
from asleft.model.errors import Code, InputError, RecordError
from asleft.model.message import Message

from .chaining import about_the_chain, about_the_events, unbroken
from .export import EVENTS, HEAD, KEY, SIGNATURE
from .findings import Finding, Findings, Flaw, finding
from .keys import SIGNATURE_BYTES, fingerprint_of, public_pem, read_public, signature_holds
from .lines import split
from .plainzip import Refused, RefusedError, unpacked

#: Names that make a record, and the most bytes each may have.
LIMITS = {EVENTS: 1 << 30, HEAD: 65, SIGNATURE: SIGNATURE_BYTES, KEY: 4096}

_HASH = re.compile(r"[0-9a-f]{64}")

#: At most this many flaws are told.
_MOST = 200


def verify(path: Path, *, held_head: str = "", public_key: bytes = b"") -> Findings:
    """Check a record.

    Args:
        path: zip or folder.
        held_head: head hash from elsewhere (the customer's copy), hexadecimal; the record must hold that event.
        public_key: PEM of the key that is expected; the record's must be the same.
    Returns: findings; a file that cannot be read at all is one of them.
    Raises: InputError: head-hash-form. RecordError: key-unusable for an unreadable ``public_key``.
    """
    held = _held(held_head)
    expected_key = fingerprint_of(read_public(public_key)) if public_key else ""
    members, found = _members(path)
    lines = split(members.get(EVENTS, b""))
    head = members.get(HEAD, b"")
    named = head[:-1].decode("ascii", "replace") if head.endswith(b"\n") else ""
    if HEAD in members and not _HASH.fullmatch(named):
        found.append(finding(Flaw.HEAD, "form", "not 64 hexadecimal digits and a line end", {"member": HEAD}))
        named = ""
    key, about_key = _about_the_key(members, expected_key)
    if EVENTS in members:
        found += [*about_the_events(lines), *about_the_chain(lines, named, held)]
        if not found and not unbroken(lines, named):
            found.append(finding(Flaw.CHAIN, "broken", "the chain is broken at a place not found", {"member": EVENTS}))
    found += about_key
    first = next((line.event for line in lines[:1] if line.event), None)
    closed = bool(lines) and lines[-1].event is not None and isinstance(lines[-1].event.body, JobClosed)
    return Findings(
        path=str(path),
        findings=tuple(found[:_MOST]),
        notes=_notes(closed=closed, held=held, expected_key=expected_key, more=len(found) - _MOST),
        job=first.job if first else "",
        origin=first.origin.value if first else "",
        format=first.format if first else "",
        events=len(lines),
        head=lines[-1].hash if lines else "",
        key=key,
        closed=closed,
    )


def _held(text: str) -> str:
    held = "".join(text.split()).lower()
    if held and not _HASH.fullmatch(held):
        raise InputError(Code.HEAD_HASH_FORM, f"{len(held)} characters given")
    return held


def _members(path: Path) -> tuple[dict[str, bytes], list[Finding]]:
    try:
        if path.is_dir():
            members, refused = _folder(path), None
        else:
            members, refused = unpacked(path, LIMITS)
    except RefusedError as error:
        return {}, [_refusal(error.refused)]
    except OSError as error:
        return {}, [_refusal(Refused(f"it cannot be read: {error.strerror}"))]
    found = [_refusal(refused)] if refused else []
    missing = [name for name in LIMITS if name not in members]
    found += [finding(Flaw.MEMBER, "missing", "this file is missing", {"member": name}) for name in missing]
    return members, found


def _folder(path: Path) -> dict[str, bytes]:
    members: dict[str, bytes] = {}
    for name, limit in LIMITS.items():
        if not (path / name).is_file():
            continue
        with (path / name).open("rb") as file:
            members[name] = file.read(limit + 1)
        if len(members[name]) > limit:
            raise RefusedError(Refused(f"{name} has more than {limit} bytes"))
    return members


def _refusal(refused: Refused) -> Finding:
    place = {"start": refused.start, "stop": refused.stop if refused.stop is not None else refused.start}
    return finding(Flaw.CONTAINER, "refused", "{why}", place, why=refused.text)


def _about_the_key(members: dict[str, bytes], expected: str) -> tuple[str, list[Finding]]:
    if KEY not in members:
        return "", []
    found: list[Finding] = []
    try:
        public = read_public(members[KEY])
    except RecordError as error:
        return "", [finding(Flaw.KEY, "unreadable", "{why}", {"member": KEY}, why=error.detail)]
    if members[KEY] != public_pem(public):
        found.append(finding(Flaw.KEY, "form", "not the plain PEM of its key", {"member": KEY}))
    fingerprint = fingerprint_of(public)
    if expected and fingerprint != expected:
        text = "another key than the one expected: {found}, not {expected}"
        found.append(finding(Flaw.KEY, "other", text, {"member": KEY}, found=fingerprint, expected=expected))
    if {SIGNATURE, HEAD} <= members.keys() and not signature_holds(public, members[SIGNATURE], members[HEAD]):
        text = "the signature was not made over this head with this key"
        found.append(finding(Flaw.SIGNATURE, "fails", text, {"member": SIGNATURE}))
    return fingerprint, found


def _notes(*, closed: bool, held: str, expected_key: str, more: int) -> tuple[Message, ...]:
    notes: list[Message] = []
    if not closed:
        notes.append(Message("record.note.open", "The job is not closed in this record: it may go on elsewhere."))
    if not held:
        text = "No head hash from elsewhere was compared: a later rewriting with the same key would not show."
        notes.append(Message("record.note.no-held-head", text))
    if not expected_key:
        text = "The key was taken from the record itself: compare its fingerprint with the workshop's."
        notes.append(Message("record.note.no-key", text))
    if more > 0:
        notes.append(Message("record.note.more", "{more} more findings are not listed.", {"more": str(more)}))
    return tuple(notes)
