"""Whether seals and keys hold: every segment sealed, by keys that the workshop's history names in order. Pure."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping, Sequence

import msgspec

from asleft.model.errors import RecordError

from .canonical import is_canonical
from .ed25519 import (
    fingerprint_of,
    from_text,
    message_of,
    public_pem,
    public_text,
    read_public,
    signature_holds,
    text_signature_holds,
)
from .export import HEAD, KEY, KEYS, SEALS, SIGNATURE
from .findings import Finding, Flaw, finding
from .key_history import KeyBody, KeyHistory, read_history
from .lines import Line
from .seals import SEGMENT, Seal, due


def about_the_key(members: Mapping[str, bytes]) -> tuple[str, list[Finding]]:
    """The key of the head, as text, and whether it signed the head."""
    if KEY not in members:
        return "", []
    try:
        public = read_public(members[KEY])
    except RecordError as error:
        return "", [finding(Flaw.KEY, "unreadable", "{why}", {"member": KEY}, why=error.detail)]
    found: list[Finding] = []
    if members[KEY] != public_pem(public):
        found.append(finding(Flaw.KEY, "form", "not the plain PEM of its key", {"member": KEY}))
    if {SIGNATURE, HEAD} <= members.keys() and not signature_holds(public, members[SIGNATURE], members[HEAD]):
        text = "the signature was not made over this head with this key"
        found.append(finding(Flaw.SIGNATURE, "fails", text, {"member": SIGNATURE}))
    return public_text(public), found


def about_the_history(content: bytes, public: str, expected: str) -> tuple[KeyHistory, list[Finding]]:
    """The workshop's keys, and whether they lead to the key of the head.

    Args: public: key of the head, as text. expected: the key that the reader holds, as text; empty: none.
    """
    history = read_history(content)
    found: list[Finding] = []
    if history.problem:
        place = {"member": KEYS, "line": history.at}
        found.append(finding(Flaw.HISTORY, "line", "{why}", place, why=history.problem))
    elif public and public not in history.keys:
        text = "the key of the head does not stand in the history of the workshop's keys"
        found.append(finding(Flaw.HISTORY, "absent", text, {"member": KEYS}))
    if expected and public and public not in history.vouched(expected) | {expected}:
        text = "signed with another key than the one expected, and that one does not vouch for it: {found}"
        found.append(finding(Flaw.KEY, "other", text, {"member": KEY}, found=_fingerprint(public)))
    return history, found


def about_the_seals(
    content: bytes, lines: Sequence[Line], history: KeyHistory, revoked: Mapping[str, KeyBody]
) -> tuple[list[Seal], list[Finding]]:
    """The seals, and whether each holds and all are there."""
    seals, found = _read(content)
    if found:
        return seals, found
    wanted = due(len(lines)) if lines else ()
    if tuple(seal.sequence for seal in seals) != wanted:
        text = "seals stand under events {there}; they belong under {wanted}"
        there = _list([seal.sequence for seal in seals])
        found.append(finding(Flaw.SEAL, "places", text, {"member": SEALS}, there=there, wanted=_list(wanted)))
    newest = 0
    for number, seal in enumerate(seals, 1):
        place = {"member": SEALS, "line": number, "event": seal.sequence}
        found += _about_one(seal, lines, place)
        known = history.keys.index(seal.public) if seal.public in history.keys else None
        if not history.problem and (known is None or known < newest):
            text = "sealed with a key that the history does not name at that time"
            found.append(finding(Flaw.SEAL, "key", text, place))
        newest = known if known is not None else newest
        found += _revocation(seal, lines, revoked, place)
    return seals, found


def about_the_head(seals: Sequence[Seal], members: Mapping[str, bytes], public: str) -> list[Finding]:
    """Whether the last seal and the head's files say the same."""
    if not seals or not {HEAD, SIGNATURE, KEY} <= members.keys():
        return []
    last = seals[-1]
    same_key = last.public == public or not public
    if message_of(last.hash) == members[HEAD] and same_key and _raw(last) == members[SIGNATURE]:
        return []
    text = "the last seal is not the one of the head, its signature and its key"
    return [finding(Flaw.SEAL, "head", text, {"member": SEALS, "line": len(seals)})]


def _read(content: bytes) -> tuple[list[Seal], list[Finding]]:
    seals: list[Seal] = []
    if not content.endswith(b"\n"):
        return seals, [finding(Flaw.SEAL, "end", "the last line has no line end", {"member": SEALS})]
    for number, text in enumerate(content[:-1].split(b"\n"), 1):
        try:
            seal = msgspec.json.decode(text, type=Seal)
            why = "" if is_canonical(text) else "not canonical JSON (RFC 8785)"
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            seal, why = None, str(error)
        if seal is None or why:
            place = {"member": SEALS, "line": number}
            return seals, [finding(Flaw.SEAL, "line", "not a seal: {why}", place, why=why)]
        seals.append(seal)
    return seals, []


def _about_one(seal: Seal, lines: Sequence[Line], place: Mapping[str, object]) -> list[Finding]:
    found: list[Finding] = []
    if not text_signature_holds(seal.public, seal.signature, message_of(seal.hash)):
        found.append(finding(Flaw.SEAL, "signature", "the signature of the seal does not hold", place))
    if 1 <= seal.sequence <= len(lines) and lines[seal.sequence - 1].hash != seal.hash:
        first = (seal.sequence - 1) // SEGMENT * SEGMENT + 1
        text = "the seal of event {event} is of another one: something in events {first} to {event} was changed"
        found.append(finding(Flaw.SEAL, "other", text, place, first=first, event=seal.sequence))
    return found


def _revocation(
    seal: Seal, lines: Sequence[Line], revoked: Mapping[str, KeyBody], place: Mapping[str, object]
) -> list[Finding]:
    body = revoked.get(seal.public)
    if body is None:
        return []
    line = lines[seal.sequence - 1] if 1 <= seal.sequence <= len(lines) else None
    wall = line.event.wall if line and line.event else ""
    if body.since and wall and wall < body.since:
        return []
    text = "sealed with a key that was revoked ({reason}), at {wall}"
    return [finding(Flaw.KEY, "revoked", text, place, reason=body.reason, wall=wall or "an unknown time")]


def _fingerprint(public: str) -> str:
    try:
        return fingerprint_of(from_text(public))
    except RecordError:
        return "unreadable"


def _raw(seal: Seal) -> bytes:
    try:
        return base64.b64decode(seal.signature)
    except (binascii.Error, ValueError):
        return b""


def _list(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers[:20])) + (" …" if len(numbers) > 20 else "") if numbers else "none"
