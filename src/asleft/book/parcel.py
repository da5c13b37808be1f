"""Procedures from one workshop to another: one signed file of data, checked before anything of it is used.

The file is JSON: format, names with texts, the sender's public key, and an Ed25519 signature over the canonical JSON
(RFC 8785) of all but the signature. There are no folders, no compression and no code in it, so there is nothing to
climb out of, to blow up or to start. What arrives is draft, whatever it was at the sender's.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Callable, Iterable
from pathlib import Path

import msgspec
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from asleft.model.errors import Code, InputError

from .loader import LoadedProcedure, ProcedureError, read_procedure

FORMAT = "asleft-parcel-v0"
MAX_BYTES = 20_000_000
MAX_FILES = 20_000
_NAME = re.compile(r"[a-z0-9]+([.-][a-z0-9]+)*\.yaml")


class _Parcel(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    format: str
    sender: str
    key: str
    files: dict[str, str]
    signature: str


class Received(msgspec.Struct, frozen=True):
    """What a parcel held: the sender's name and key as hex, and its procedures. All are drafts here."""

    sender: str
    key: str
    procedures: tuple[LoadedProcedure, ...]


def pack(procedures: Iterable[LoadedProcedure], sender: str, key: Ed25519PrivateKey) -> bytes:
    """Procedures as one signed file."""
    return pack_signed(procedures, sender, key.public_key(), key.sign)


def pack_signed(
    procedures: Iterable[LoadedProcedure], sender: str, public_key: Ed25519PublicKey, sign: Callable[[bytes], bytes]
) -> bytes:
    """The same with a key that only signs."""
    public = public_key.public_bytes(Encoding.Raw, PublicFormat.Raw)
    files = {f"{p.procedure.id}.yaml": p.text for p in procedures}
    unsigned = {"format": FORMAT, "sender": sender, "key": public.hex(), "files": files}
    signature = base64.b64encode(sign(rfc8785.dumps(unsigned))).decode("ascii")
    return rfc8785.dumps({**unsigned, "signature": signature})


def unpack(data: bytes, trusted: Iterable[str] | None = None) -> Received:
    """Check a parcel and read its procedures; all of it or nothing.

    Args: trusted: public keys (hex) that are accepted; None: any, whose name is then only claimed.
    Raises: InputError: parcel-bad. ProcedureError: a procedure of it has errors.
    """
    if len(data) > MAX_BYTES:
        raise InputError(Code.PARCEL_BAD, f"{len(data)} bytes; at most {MAX_BYTES}")
    try:
        parcel = msgspec.json.decode(data, type=_Parcel)
    except (msgspec.MsgspecError, RecursionError) as error:
        raise InputError(Code.PARCEL_BAD, str(error)) from None
    if parcel.format != FORMAT:
        raise InputError(Code.PARCEL_BAD, f"format {parcel.format!r} is not known")
    if len(parcel.files) > MAX_FILES:
        raise InputError(Code.PARCEL_BAD, f"{len(parcel.files)} files; at most {MAX_FILES}")
    _check_signature(parcel)
    if trusted is not None and parcel.key not in set(trusted):
        raise InputError(Code.PARCEL_BAD, f"signed by a key that is not trusted here ({parcel.key[:16]}…)")
    return Received(parcel.sender, parcel.key, tuple(_read(name, text) for name, text in sorted(parcel.files.items())))


def keep(received: Received, folder: Path) -> tuple[Path, ...]:
    """Write the procedures into a folder. Raises InputError: parcel-bad, a name is taken there by another text."""
    targets = [(folder / f"{p.procedure.id}.yaml", p.text.encode()) for p in received.procedures]
    for path, text in targets:
        if path.exists() and path.read_bytes() != text:
            raise InputError(Code.PARCEL_BAD, f"{path.name} is there already with another text; nothing was written")
    for path, text in targets:
        path.write_bytes(text)
    return tuple(path for path, _ in targets)


def _check_signature(parcel: _Parcel) -> None:
    unsigned = {"format": parcel.format, "sender": parcel.sender, "key": parcel.key, "files": parcel.files}
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(parcel.key))
        signature = base64.b64decode(parcel.signature, validate=True)
        key.verify(signature, rfc8785.dumps(unsigned))  # pyright: ignore[reportArgumentType]
    except (InvalidSignature, ValueError, binascii.Error):
        raise InputError(Code.PARCEL_BAD, "the signature does not fit the content") from None


def _read(name: str, text: str) -> LoadedProcedure:
    if not _NAME.fullmatch(name):
        raise InputError(Code.PARCEL_BAD, f"{name!r} is no name for a procedure's file")
    loaded = read_procedure(text.encode(), name)
    if name != f"{loaded.procedure.id}.yaml":
        raise InputError(Code.PARCEL_BAD, f"{name} holds {loaded.procedure.id}")
    return loaded


__all__ = ["ProcedureError", "Received", "keep", "pack", "pack_signed", "unpack"]
