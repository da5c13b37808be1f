"""The workshop's signing key, for the engine and for faces: with its passphrase, its history, its fingerprint.

A passphrase is given by the environment, ``ASLEFT_PASSPHRASE``, so that it stands in no command line and no file of
ours; without one the key file is protected by its rights alone.
"""

from __future__ import annotations

import os
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.record import keys
from asleft.record.ed25519 import fingerprint_of, from_text
from asleft.record.key_history import KeyAct, read_history
from asleft.record.keys import HISTORY_FILE, SigningKey

from .clock import now_text

PASSPHRASE = "ASLEFT_PASSPHRASE"  # noqa: S105 - the name of a variable

#: Fewer digits of a fingerprint are refused: they could be of another key.
_FEWEST = 8


class KnownKey(msgspec.Struct, frozen=True):
    """A key of the workshop's history.

    Attributes:
        fingerprint: SHA-256 of its 32 public bytes, hexadecimal.
        taken: how it was taken into use: made, rotated, replaced. since: when, as known then.
        revoked: why it must not be believed; empty: it may. revoked_from: from when on; empty: at all.
        in_use: whether it signs now.
    """

    fingerprint: str
    taken: str
    since: str
    revoked: str
    revoked_from: str
    in_use: bool


def passphrase() -> bytes | None:
    """The key's passphrase, if one is given."""
    return os.environ.get(PASSPHRASE, "").encode() or None


def load_key(folder: Path) -> SigningKey:
    """The key of a data folder, made on first use. Raises RecordError (key-unusable)."""
    return SigningKey.load_or_make(folder, passphrase())


def known_keys(folder: Path) -> tuple[KnownKey, ...]:
    """All keys of a data folder's history, oldest first; the private key is not touched.

    Raises: InputError (key-unknown): there is no history here.
    """
    history = read_history(_history(folder))
    revoked = history.revoked()
    taken = [line.body for line in history.lines if line.body.act is not KeyAct.REVOKED]
    return tuple(
        KnownKey(
            fingerprint_of(from_text(body.public)),
            body.act.value,
            body.wall,
            (revoked[body.public].reason or "revoked") if body.public in revoked else "",
            revoked[body.public].since if body.public in revoked else "",
            body is taken[-1],
        )
        for body in taken
    )


def has_key(folder: Path) -> bool:
    """Whether the private key lies in a data folder: it is in no backup."""
    return (folder / keys.PRIVATE_FILE).is_file()


def history_path(folder: Path) -> Path:
    """The file that the workshop publishes: its public keys, rotations and revocations."""
    return folder / HISTORY_FILE


def rotate(folder: Path, *, reason: str, lost: bool = False) -> str:
    """Take a new key into use. Returns its fingerprint. Raises RecordError (key-unusable)."""
    return keys.rotate(folder, wall=now_text(), reason=reason, passphrase=passphrase(), lost=lost).fingerprint


def revoke(folder: Path, fingerprint: str, *, reason: str, since: str = "") -> str:
    """Say that an earlier key must not be believed.

    Args: fingerprint: or its first digits, 8 at least. since: RFC 3339, UTC; empty: none of its signatures.
    Returns: the whole fingerprint.
    Raises: InputError: key-unknown, time-unreadable. RecordError (key-unusable): it is in use, rotate first.
    """
    wanted = fingerprint.strip().lower()
    lines = read_history(_history(folder)).lines
    publics = {fingerprint_of(from_text(line.body.public)): line.body.public for line in lines}
    found = [whole for whole in publics if whole.startswith(wanted)]
    if len(wanted) < _FEWEST or len(found) != 1:
        raise InputError(Code.KEY_UNKNOWN, f"{fingerprint!r}: {len(found)} keys begin so")
    about = {"wall": now_text(), "reason": reason, "since": since and now_text(since)}
    keys.revoke(folder, publics[found[0]], passphrase=passphrase(), **about)
    return found[0]


def change_passphrase(folder: Path, new: bytes | None) -> None:
    """Encrypt the key on disk anew, or not at all. Raises RecordError (key-unusable)."""
    keys.change_passphrase(folder, passphrase(), new)


def _history(folder: Path) -> bytes:
    try:
        return history_path(folder).read_bytes()
    except OSError as error:
        raise InputError(Code.KEY_UNKNOWN, "there is no key here yet", str(folder)) from error
