"""The history of a workshop's signing keys: made, rotated, replaced, revoked, each a signed line that names the last.

A line of ``keys.jsonl`` is canonical JSON ``{"body": …, "signatures": […]}``. What is signed is the SHA-256 of the
body's bytes. *Made*: the key signs itself. *Rotated*: the old key and the new one sign. *Replaced* (the old one is
lost): only the new one signs, so nobody who knew the old key vouches for it. *Revoked*: the present key says from when
on a key must not be believed. Pure.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from enum import StrEnum, unique
from typing import NamedTuple

import msgspec
import rfc8785

from asleft.event.envelope import NO_PREVIOUS

from .canonical import is_canonical
from .ed25519 import message_of, text_signature_holds

FORMAT = "asleft-keys-v1"
#: What is read; the two have the same fields.
FORMATS = ("asleft-keys-v0", FORMAT)


@unique
class KeyAct(StrEnum):
    """What happened to a key."""

    MADE = "made"
    ROTATED = "rotated"
    REPLACED = "replaced"
    REVOKED = "revoked"


class KeyBody(msgspec.Struct, frozen=True):
    """One statement.

    Attributes:
        act: what happened.
        public: the key it is about: the new one, or the one revoked.
        sequence: 1, 2, 3 …
        previous: SHA-256 of the line before; 64 zeros in the first.
        wall: time of day as known then; empty when not known.
        since: of a revocation: signatures from then on are not to be believed; empty: none of them.
        reason: in words.
    """

    act: KeyAct
    public: str
    sequence: int
    previous: str
    wall: str = ""
    since: str = ""
    reason: str = ""
    format: str = FORMAT


class KeySignature(msgspec.Struct, frozen=True):
    """A signature under a statement."""

    public: str
    signature: str


class KeyLine(msgspec.Struct, frozen=True):
    """A statement with its signatures."""

    body: KeyBody
    signatures: tuple[KeySignature, ...]


class Signer(NamedTuple):
    """A key that can sign: its public half as text, and how it signs a message into base64."""

    public: str
    sign: Callable[[bytes], str]


class KeyHistory(NamedTuple):
    """Statements in order, each checked.

    Attributes:
        lines: those that hold.
        problem: why the one after them does not; empty when all do.
        at: line number of that one, from 1.
    """

    lines: tuple[KeyLine, ...]
    problem: str = ""
    at: int = 0

    @property
    def keys(self) -> tuple[str, ...]:
        """Public keys in the order they were taken into use."""
        return tuple(line.body.public for line in self.lines if line.body.act is not KeyAct.REVOKED)

    def revoked(self) -> dict[str, KeyBody]:
        """Revoked keys with the statement."""
        return {line.body.public: line.body for line in self.lines if line.body.act is KeyAct.REVOKED}

    def vouched(self, public: str) -> frozenset[str]:
        """``public`` and the later keys that it vouches for, one rotation after the other."""
        keys = [line.body for line in self.lines if line.body.act is not KeyAct.REVOKED]
        found: set[str] = set()
        for body in keys:
            if body.public == public or (found and body.act is KeyAct.ROTATED):
                found.add(body.public)
            elif found:
                break
        return frozenset(found)


def made(key: Signer, wall: str = "") -> bytes:
    """The first line of a history."""
    return _line(KeyBody(KeyAct.MADE, key.public, 1, NO_PREVIOUS, wall), [key])


def added(history: bytes, act: KeyAct, public: str, signers: Sequence[Signer], **about: str) -> bytes:
    """A history with one more line. ``about``: wall, since, reason."""
    lines = history.splitlines()
    previous = hashlib.sha256(lines[-1]).hexdigest()
    return history + _line(KeyBody(act, public, len(lines) + 1, previous, **about), signers)


def read_history(content: bytes) -> KeyHistory:
    """The statements that hold, up to the first that does not."""
    lines: list[KeyLine] = []
    previous = NO_PREVIOUS
    if not content.endswith(b"\n"):
        return KeyHistory((), "the last line has no line end", content.count(b"\n") + 1)
    for number, text in enumerate(content[:-1].split(b"\n"), 1):
        problem = ""
        try:
            line = msgspec.json.decode(text, type=KeyLine)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            return KeyHistory(tuple(lines), f"not a statement: {error}", number)
        problem = _problem(line, text, (number, previous), lines)
        if problem:
            return KeyHistory(tuple(lines), problem, number)
        lines.append(line)
        previous = hashlib.sha256(text).hexdigest()
    return KeyHistory(tuple(lines))


def _line(body: KeyBody, signers: Sequence[Signer]) -> bytes:
    message = message_of(hashlib.sha256(_canonical(body)).hexdigest())
    return _canonical(KeyLine(body, tuple(KeySignature(s.public, s.sign(message)) for s in signers))) + b"\n"


def _canonical(value: msgspec.Struct) -> bytes:
    return rfc8785.dumps(msgspec.to_builtins(value))


def _problem(line: KeyLine, text: bytes, place: tuple[int, str], before: Sequence[KeyLine]) -> str:
    body = line.body
    if body.format not in FORMATS or (before and FORMATS.index(body.format) < FORMATS.index(before[-1].body.format)):
        return f"format {body.format!r} is not known"
    if not is_canonical(text) or _canonical(line) != text:
        return "not canonical JSON (RFC 8785), or unknown fields"
    if (body.sequence, body.previous) != place:
        return "it does not follow the line before it"
    wanted = _signers(body, before)
    if not wanted:
        return f"{body.act.value} does not fit here"
    if [signature.public for signature in line.signatures] != wanted:
        return "not signed by the keys that should sign it"
    message = message_of(hashlib.sha256(_canonical(body)).hexdigest())
    if not all(text_signature_holds(s.public, s.signature, message) for s in line.signatures):
        return "a signature does not hold"
    return ""


def _signers(body: KeyBody, before: Sequence[KeyLine]) -> list[str]:
    """Who must sign a statement; none: it cannot stand here."""
    keys = [line.body.public for line in before if line.body.act is not KeyAct.REVOKED]
    match body.act:
        case KeyAct.MADE:
            return [] if before else [body.public]
        case KeyAct.ROTATED:
            return [keys[-1], body.public] if keys and body.public not in keys else []
        case KeyAct.REPLACED:
            return [body.public] if keys and body.public not in keys else []
        case KeyAct.REVOKED:
            return [keys[-1]] if body.public in keys[:-1] else []
