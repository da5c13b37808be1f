"""Signed passes: who is signed in, and who may watch one job. Pure but for the secret's file.

A pass is text: its kind, whom it names, until when, and an HMAC over these. It holds no secret of anybody. A sign-in
pass names the password's hash as well, so that a new password ends it. Source: RFC 2104 (HMAC), FIPS 180-4 (SHA-256).
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
from pathlib import Path

import msgspec

_SECRET_FILE = "page-secret"  # noqa: S105 - a file's name
#: How long a sign-in holds, s: a shift.
SHIFT_S = 10 * 3600
#: How long a link to watch holds, s.
WATCH_S = 8 * 3600


class Pass(msgspec.Struct, frozen=True, array_like=True):
    """What a pass says.

    Attributes:
        kind: "sign-in" or "watch". subject: person's name, or job's number. until: time of day, s since 1970.
        bound: what ends the pass when it changes; empty for a link to watch.
    """

    kind: str
    subject: str
    until: int
    bound: str = ""


def own_secret(folder: Path, name: str = _SECRET_FILE) -> bytes:
    """A secret of this data folder, made on first use, readable by its owner only."""
    path = folder / name
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(32))
    except FileExistsError:
        pass
    return path.read_bytes() or secrets.token_bytes(32)


def write_pass(secret: bytes, said: Pass) -> str:
    """The pass as text for a cookie or a link."""
    body = msgspec.json.encode(said)
    return f"{_text(body)}.{_text(_seal(secret, body))}"


def read_pass(secret: bytes, text: str, kind: str, now: float) -> Pass | None:
    """What a pass says, when it is ours, of this kind and not over."""
    body, _, seal = text.partition(".")
    try:
        content, sealed = _bytes(body), _bytes(seal)
        if not hmac.compare_digest(sealed, _seal(secret, content)):
            return None
        said = msgspec.json.decode(content, type=Pass)
    except (ValueError, msgspec.MsgspecError):
        return None
    return said if said.kind == kind and now < said.until else None


def _seal(secret: bytes, body: bytes) -> bytes:
    return hmac.new(secret, body, hashlib.sha256).digest()


def _text(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode("ascii")


def _bytes(text: str) -> bytes:
    if not text.isascii():
        raise ValueError(text)
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
