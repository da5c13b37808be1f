"""Ed25519 public keys and signatures as text and bytes. Source: RFC 8032; key encodings RFC 8410.

In a record a public key is written as one line: base64 of its SubjectPublicKeyInfo, which is also the middle line of
its PEM file. A hash is signed as its 64 hexadecimal digits and a line end: ``openssl`` can check that from a file.
"""

from __future__ import annotations

import base64
import binascii
import hashlib

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from asleft.model.errors import Code, RecordError

#: Octets of a public key and of a signature. Source: RFC 8032, 5.1.5 and 5.1.6.
PUBLIC_BYTES = 32
SIGNATURE_BYTES = 64


def message_of(digest: str) -> bytes:
    """What is signed for a hash: its hexadecimal digits and a line end."""
    return f"{digest}\n".encode("ascii")


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


def public_text(key: Ed25519PublicKey) -> str:
    """A public key as one line of text."""
    der = key.public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    return base64.b64encode(der).decode("ascii")


def from_text(text: str) -> Ed25519PublicKey:
    """The public key written as one line. Raises RecordError (key-unusable) for any other text."""
    key = read_public(f"-----BEGIN PUBLIC KEY-----\n{text}\n-----END PUBLIC KEY-----\n".encode())
    if public_text(key) != text:
        raise RecordError(Code.KEY_UNUSABLE, "not the plain form of its key")
    return key


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


def text_signature_holds(public: str, signature: str, message: bytes) -> bool:
    """The same for a key and a base64 signature as a record writes them; any other text does not hold."""
    try:
        raw = base64.b64decode(signature, validate=True)
        plain = base64.b64encode(raw).decode("ascii") == signature
        return plain and signature_holds(from_text(public), raw, message)
    except (binascii.Error, ValueError, RecordError):
        return False
