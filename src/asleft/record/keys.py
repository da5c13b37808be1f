"""The workshop's signing key: Ed25519, made on first use, readable by its owner only.

The private key is a PEM file (PKCS #8), with a passphrase if one is given; the public key lies beside it. What a
signature proves and does not prove stands in ``docs/record-format.md``.

Example::

    key = SigningKey.load_or_make(Path("data/keys"))
    signature = key.sign(b"...")          # 64 bytes
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from asleft.model.errors import Code, RecordError

PRIVATE_FILE = "signing-key.pem"
PUBLIC_FILE = "signing-key.pub.pem"

#: Octets of a public key and of a signature. Source: RFC 8032, 5.1.5 and 5.1.6.
PUBLIC_BYTES = 32
SIGNATURE_BYTES = 64


class SigningKey:
    """An Ed25519 private key. Source: RFC 8032 (PureEdDSA, Ed25519)."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private

    @classmethod
    def load_or_make(cls, folder: Path, passphrase: bytes | None = None) -> SigningKey:
        """The folder's key, made on first use with rights for its owner only.

        Args: passphrase: encrypts the key on disk when it is made; must be given again to load it.
        Raises: RecordError: key-unusable (rights too wide, wrong passphrase, not an Ed25519 key, disk).
        """
        path = folder / PRIVATE_FILE
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if not path.exists():
                _write_new(path, _private_pem(Ed25519PrivateKey.generate(), passphrase), 0o600)
            key = cls._load(path, passphrase)
            if not (folder / PUBLIC_FILE).exists():
                _write_new(folder / PUBLIC_FILE, key.public_pem, 0o644)
        except OSError as error:
            raise RecordError(Code.KEY_UNUSABLE, str(error.strerror), str(path)) from error
        return key

    @classmethod
    def _load(cls, path: Path, passphrase: bytes | None) -> SigningKey:
        if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
            raise RecordError(Code.KEY_UNUSABLE, "others than its owner may read it: chmod 600", str(path))
        try:
            private = serialization.load_pem_private_key(path.read_bytes(), passphrase)
        except (ValueError, TypeError, UnsupportedAlgorithm) as error:
            raise RecordError(Code.KEY_UNUSABLE, "not a key, or the passphrase is not its own", str(path)) from error
        if not isinstance(private, Ed25519PrivateKey):
            raise RecordError(Code.KEY_UNUSABLE, "not an Ed25519 key", str(path))
        return cls(private)

    @property
    def public_pem(self) -> bytes:
        """The public key as PEM (SubjectPublicKeyInfo). Source: RFC 8410."""
        return public_pem(self._private.public_key())

    @property
    def fingerprint(self) -> str:
        """What names the key on paper: see ``fingerprint_of``."""
        return fingerprint_of(self._private.public_key())

    def sign(self, message: bytes) -> bytes:
        """The 64 bytes of the signature."""
        return self._private.sign(message)


def read_public(pem: bytes) -> Ed25519PublicKey:
    """The public key in a PEM file. Raises RecordError (key-unusable)."""
    try:
        key = serialization.load_pem_public_key(pem)
    except (ValueError, UnsupportedAlgorithm) as error:
        raise RecordError(Code.KEY_UNUSABLE, "not a public key in PEM") from error
    if not isinstance(key, Ed25519PublicKey):
        raise RecordError(Code.KEY_UNUSABLE, "not an Ed25519 key")
    return key


def public_pem(key: Ed25519PublicKey) -> bytes:
    """A public key as PEM."""
    return key.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)


def fingerprint_of(key: Ed25519PublicKey) -> str:
    """SHA-256 of the public key's 32 bytes, hexadecimal."""
    raw = key.public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
    return hashlib.sha256(raw).hexdigest()


def signature_holds(key: Ed25519PublicKey, signature: bytes, message: bytes) -> bool:
    """Whether ``signature`` was made over exactly ``message`` with the private half of ``key``."""
    try:
        key.verify(signature, message)
    except InvalidSignature:
        return False
    return True


def _private_pem(key: Ed25519PrivateKey, passphrase: bytes | None) -> bytes:
    encryption = serialization.BestAvailableEncryption(passphrase) if passphrase else serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, encryption)


def _write_new(path: Path, content: bytes, mode: int) -> None:
    """Put a whole file in place, synced; when another program was first, its file stays."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        try:
            os.link(name, path)
        except FileExistsError:
            return
    finally:
        Path(name).unlink(missing_ok=True)
