"""Checking a record: a zip or a folder with its four files, from anybody.

Every flaw is named with the event, the line and the byte range. The same checks can be made with openssl and
sha256sum alone: ``docs/record-format.md``.

Example::

    result = verify(Path("record.zip"), held_head="9f2c…")
    result.intact, result.findings
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from asleft.event.body import JobClosed
from asleft.model.errors import Code, InputError, RecordError
from asleft.model.message import Message

from .chaining import about_the_chain, about_the_events, unbroken
from .container import ALWAYS, members_of
from .ed25519 import fingerprint_of, from_text, public_text, read_public
from .export import CHUNKS, EVENTS, HEAD, KEYS, SEALS, STAMP
from .findings import Finding, Findings, Flaw, finding
from .keeping import about_the_chunks, about_the_personal, about_the_sizes
from .key_history import KeyHistory, read_history
from .lines import Line, split
from .plainzip import Refused, RefusedError
from .sealing import about_the_head, about_the_history, about_the_key, about_the_seals
from .timestamp import check_stamp

_HASH = re.compile(r"[0-9a-f]{64}")

#: At most this many flaws are told.
_MOST = 200


class Held(NamedTuple):
    """What the reader holds from elsewhere; empty where nothing.

    Attributes:
        head: head hash, 64 hexadecimal digits.
        public: the workshop's key, as text.
        history: a newer history of the workshop's keys, with its revocations.
        authority: certificates (PEM) of those whose time stamps are believed.
    """

    head: str = ""
    public: str = ""
    history: KeyHistory = KeyHistory(())
    authority: bytes = b""


#: Nothing is held from elsewhere.
NOTHING = Held()


def verify(
    path: Path, *, held_head: str = "", public_key: bytes = b"", key_history: bytes = b"", authority: bytes = b""
) -> Findings:
    """Check a record.

    Args:
        path: zip or folder.
        held_head: head hash from elsewhere (the customer's copy), hexadecimal; the record must hold that event.
        public_key: PEM of the key that is expected; the record's must be the same, or one that it vouches for.
        key_history: ``keys.jsonl`` as the workshop publishes it today: what it revokes is not believed.
        authority: certificates (PEM) of those whose time stamps are believed.
    Returns: findings; a file that cannot be read at all is one of them.
    Raises: InputError: head-hash-form. RecordError: key-unusable for an unreadable ``public_key`` or ``key_history``.
    """
    public = public_text(read_public(public_key)) if public_key else ""
    held = Held(_hash(held_head), public, _history(key_history), authority)
    members, found = _members(path)
    return verify_members(members, held, name=str(path), found=found)


def verify_members(
    members: Mapping[str, bytes], held: Held = NOTHING, *, name: str = "", found: Sequence[Finding] = ()
) -> Findings:
    """Check the files of a record.

    Args: name: for the result. found: what was found about the container.
    """
    lines = split(members.get(EVENTS, b""))
    public, about_key = about_the_key(members)
    history, about_history = about_the_history(members[KEYS], public, held.public) if KEYS in members else (None, [])
    every = [*found, *_missing(members, found), *_about_lines(members, lines, held.head), *about_key, *about_history]
    if SEALS in members:
        known = history or KeyHistory((), "missing")
        revoked = {**known.revoked(), **held.history.revoked()}
        seals, about_seals = about_the_seals(members[SEALS], lines, known, revoked)
        every += [*about_seals, *about_the_head(seals, members, public)]
    withheld, about_personal = about_the_personal(members)
    every += [*about_the_chunks(members), *about_the_sizes(members, lines), *about_personal]
    first = next((line.header for line in lines[:1] if line.header), None)
    strange = sorted({line.kind for line in lines if line.header and line.event is None})
    closed = any(line.event is not None and isinstance(line.event.body, JobClosed) for line in lines)
    return Findings(
        path=name,
        findings=tuple(every[:_MOST]),
        notes=_notes(held, strange, closed=closed, withheld=withheld, more=len(every) - _MOST),
        job=first.job if first else "",
        origin=first.origin.value if first else "",
        format=first.format if first else "",
        events=len(lines),
        head=lines[-1].hash if lines else "",
        key=fingerprint_of(from_text(public)) if public else "",
        closed=closed,
        chunks=sum(name.startswith(CHUNKS) for name in members),
        withheld=withheld,
        stamp=check_stamp(members[STAMP], members.get(HEAD, b""), held.authority) if STAMP in members else None,
    )


def _about_lines(members: Mapping[str, bytes], lines: Sequence[Line], held: str) -> list[Finding]:
    if EVENTS not in members:
        return []
    found: list[Finding] = []
    head = members.get(HEAD, b"")
    named = head[:-1].decode("ascii", "replace") if head.endswith(b"\n") else ""
    if HEAD in members and not _HASH.fullmatch(named):
        found.append(finding(Flaw.HEAD, "form", "not 64 hexadecimal digits and a line end", {"member": HEAD}))
        named = ""
    found += [*about_the_events(lines), *about_the_chain(lines, named, held)]
    if not found and HEAD in members and not unbroken(lines, named):
        found.append(finding(Flaw.CHAIN, "broken", "the chain is broken at a place not found", {"member": EVENTS}))
    return found


def _missing(members: Mapping[str, bytes], found: Sequence[Finding]) -> list[Finding]:
    if not members and found:
        return []
    missing = [name for name in ALWAYS if name not in members]
    return [finding(Flaw.MEMBER, "missing", "this file is missing", {"member": name}) for name in missing]


def _history(content: bytes) -> KeyHistory:
    history = read_history(content) if content else KeyHistory(())
    if history.problem:
        raise RecordError(Code.KEY_UNUSABLE, history.problem, f"key history, line {history.at}")
    return history


def _hash(text: str) -> str:
    held = "".join(text.split()).lower()
    if held and not _HASH.fullmatch(held):
        raise InputError(Code.HEAD_HASH_FORM, f"{len(held)} characters given")
    return held


def _members(path: Path) -> tuple[dict[str, bytes], list[Finding]]:
    try:
        members, refused = members_of(path)
    except RefusedError as error:
        return {}, [_refusal(error.refused)]
    except OSError as error:
        return {}, [_refusal(Refused(f"it cannot be read: {error.strerror}"))]
    return members, [_refusal(refused)] if refused else []


def _refusal(refused: Refused) -> Finding:
    place = {"start": refused.start, "stop": refused.stop if refused.stop is not None else refused.start}
    return finding(Flaw.CONTAINER, "refused", "{why}", place, why=refused.text)


def _notes(held: Held, strange: Sequence[str], *, closed: bool, withheld: int, more: int) -> tuple[Message, ...]:
    notes: list[Message] = []
    if not closed:
        notes.append(Message("record.note.open", "The job is not closed in this record: it may go on elsewhere."))
    if not held.head:
        text = "No head hash from elsewhere was compared: a later rewriting with the same key would not show."
        notes.append(Message("record.note.no-held-head", text))
    if not held.public:
        text = "The key was taken from the record itself: compare its fingerprint with the workshop's."
        notes.append(Message("record.note.no-key", text))
    if withheld > 0:
        text = "{n} personal texts are withheld: left out of this copy, or erased."
        notes.append(Message("record.note.withheld", text, {"n": str(withheld)}))
    if strange:
        text = "Events of types that this program does not know, checked as far as one can be without it: {types}."
        notes.append(Message("record.note.strange", text, {"types": ", ".join(strange)}))
    if more > 0:
        notes.append(Message("record.note.more", "{more} more findings are not listed.", {"more": str(more)}))
    return tuple(notes)
