"""The workshop's signing key: Ed25519, made on first use, readable by its owner only, with its history beside it.

The private key is a PEM file (PKCS #8), with a passphrase if one is given; the public key and the history of keys lie
beside it. What a signature proves and does not prove stands in ``docs/threat-model.md``.

Example::

    key = SigningKey.load_or_make(Path("data"))
    signature = key.sign(b"...")          # 64 bytes
"""

from __future__ import annotations

import base64
import os
import stat
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from asleft.model.errors import Code, RecordError

from .ed25519 import fingerprint_of, public_pem, public_text
from .files import put_file
from .key_history import KeyAct, Signer, added, made, read_history

PRIVATE_FILE = "signing-key.pem"
PUBLIC_FILE = "signing-key.pub.pem"
HISTORY_FILE = "signing-keys.jsonl"

#: A key that is to be taken into use; it waits until the history names it.
NEXT_FILE = "signing-key.next.pem"


_GONE = "it is not there: put it back, or take a new one into use (asleft key rotate --lost)"


class SigningKey:
    """An Ed25519 private key. Source: RFC 8032 (PureEdDSA, Ed25519)."""

    def __init__(self, private: Ed25519PrivateKey, history: bytes = b"") -> None:
        self._private = private
        self._history = history

    @classmethod
    def load_or_make(cls, folder: Path, passphrase: bytes | None = None) -> SigningKey:
        """The folder's key, made on first use with rights for its owner only.

        Args: passphrase: encrypts the key on disk when it is made; must be given again to load it.
        Raises: RecordError: key-unusable (rights too wide, wrong passphrase, not an Ed25519 key, a history that does
            not hold, disk).
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _finish_rotation(folder, passphrase)
            if not (folder / PRIVATE_FILE).exists():
                if (folder / HISTORY_FILE).exists():
                    raise RecordError(Code.KEY_UNUSABLE, _GONE, str(folder / PRIVATE_FILE))
                pem = _private_pem(Ed25519PrivateKey.generate(), passphrase)
                put_file(folder / PRIVATE_FILE, pem, 0o600, only_new=True)
            private = _load(folder / PRIVATE_FILE, passphrase)
            key = cls(private)
            put_file(folder / HISTORY_FILE, made(key.signer), 0o644, only_new=True)
            put_file(folder / PUBLIC_FILE, key.public_pem, 0o644)
            return cls(private, _history_for(folder, key.signer.public))
        except OSError as error:
            raise RecordError(Code.KEY_UNUSABLE, str(error.strerror), str(folder)) from error

    @property
    def public_pem(self) -> bytes:
        """The public key as PEM (SubjectPublicKeyInfo). Source: RFC 8410."""
        return public_pem(self._private.public_key())

    @property
    def fingerprint(self) -> str:
        """What names the key on paper: SHA-256 of its 32 public bytes, hexadecimal."""
        return fingerprint_of(self._private.public_key())

    @property
    def history(self) -> bytes:
        """The history of the workshop's keys, as it stands in a record."""
        return self._history or made(self.signer)

    @property
    def signer(self) -> Signer:
        """The key as a record's text: public half, and signatures in base64."""
        return Signer(public_text(self._private.public_key()), self._sign_text)

    def sign(self, message: bytes) -> bytes:
        """The 64 bytes of the signature."""
        return self._private.sign(message)

    def private_pem(self, passphrase: bytes | None = None) -> bytes:
        """The private key as PEM (PKCS #8), encrypted when a passphrase is given."""
        return _private_pem(self._private, passphrase)

    def _sign_text(self, message: bytes) -> str:
        return base64.b64encode(self.sign(message)).decode("ascii")


def rotate(folder: Path, *, wall: str, reason: str, passphrase: bytes | None = None, lost: bool = False) -> SigningKey:
    """Take a new key into use; the old private key is deleted, the history says so.

    A crash leaves either the old key or the new one in use, never none.

    Args:
        wall: time of day, RFC 3339. reason: in words.
        passphrase: of the old key and of the new one.
        lost: the old key, or its passphrase, is lost: then nobody but the new one vouches for it.
    Raises: RecordError: key-unusable.
    """
    new = SigningKey(Ed25519PrivateKey.generate())
    signers = [new.signer] if lost else [SigningKey.load_or_make(folder, passphrase).signer, new.signer]
    act = KeyAct.REPLACED if lost else KeyAct.ROTATED
    try:
        history = (folder / HISTORY_FILE).read_bytes()
        put_file(folder / NEXT_FILE, new.private_pem(passphrase), 0o600)
        put_file(
            folder / HISTORY_FILE, added(history, act, new.signer.public, signers, wall=wall, reason=reason), 0o644
        )
    except OSError as error:
        raise RecordError(Code.KEY_UNUSABLE, str(error.strerror), str(folder)) from error
    return SigningKey.load_or_make(folder, passphrase)


def revoke(
    folder: Path, public: str, *, wall: str, reason: str, since: str = "", passphrase: bytes | None = None
) -> None:
    """Say in the history that an earlier key must not be believed: stolen, copied.

    Args: public: the key as a record writes it. since: RFC 3339; empty: none of its signatures.
    Raises: RecordError: key-unusable, also for a key that is in use (rotate first) or was never.
    """
    key = SigningKey.load_or_make(folder, passphrase)
    content = added(key.history, KeyAct.REVOKED, public, [key.signer], wall=wall, since=since, reason=reason)
    problem = read_history(content).problem
    if problem:
        raise RecordError(Code.KEY_UNUSABLE, problem, str(folder / HISTORY_FILE))
    try:
        put_file(folder / HISTORY_FILE, content, 0o644)
    except OSError as error:
        raise RecordError(Code.KEY_UNUSABLE, str(error.strerror), str(folder)) from error


def change_passphrase(folder: Path, old: bytes | None, new: bytes | None) -> None:
    """Encrypt the private key on disk with another passphrase; None: not at all. A crash leaves the one or the other.

    Raises: RecordError: key-unusable.
    """
    key = SigningKey.load_or_make(folder, old)
    try:
        put_file(folder / PRIVATE_FILE, key.private_pem(new), 0o600)
    except OSError as error:
        raise RecordError(Code.KEY_UNUSABLE, str(error.strerror), str(folder)) from error


def _load(path: Path, passphrase: bytes | None) -> Ed25519PrivateKey:
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise RecordError(Code.KEY_UNUSABLE, "others than its owner may read it: chmod 600", str(path))
    try:
        private = serialization.load_pem_private_key(path.read_bytes(), passphrase)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise RecordError(Code.KEY_UNUSABLE, "not a key, or the passphrase is not its own", str(path)) from error
    if not isinstance(private, Ed25519PrivateKey):
        raise RecordError(Code.KEY_UNUSABLE, "not an Ed25519 key", str(path))
    return private


def _history_for(folder: Path, public: str) -> bytes:
    """The history, when it holds and names this key last."""
    content = (folder / HISTORY_FILE).read_bytes()
    history = read_history(content)
    if history.problem:
        where = f"{folder / HISTORY_FILE}:{history.at}"
        raise RecordError(Code.KEY_UNUSABLE, history.problem, where)
    if history.keys[-1] != public:
        detail = "the history names another key last"
        raise RecordError(Code.KEY_UNUSABLE, detail, str(folder / HISTORY_FILE))
    return content


def _finish_rotation(folder: Path, passphrase: bytes | None) -> None:
    """After a crash: the waiting key goes into use when the history names it, else it is dropped."""
    waiting = folder / NEXT_FILE
    if not waiting.exists():
        return
    public = public_text(_load(waiting, passphrase).public_key())
    keys = read_history((folder / HISTORY_FILE).read_bytes()).keys
    if keys and keys[-1] == public:
        waiting.replace(folder / PRIVATE_FILE)
    else:
        waiting.unlink()


def _private_pem(key: Ed25519PrivateKey, passphrase: bytes | None) -> bytes:
    encryption = serialization.BestAvailableEncryption(passphrase) if passphrase else serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, encryption)
