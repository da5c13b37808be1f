"""Books from one workshop to another, and edits of a file, for faces."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from asleft.book.edit import set_field
from asleft.book.loader import load_procedure
from asleft.book.parcel import keep, pack_signed, unpack
from asleft.book.trust import hash_of_numbers
from asleft.model.errors import Code, InputError
from asleft.record.ed25519 import read_public

from .keyring import load_key
from .settings import data_folder


class Taken(msgspec.Struct, frozen=True):
    """What came in: the sender as it names itself, its key (hex), whether that key was asked for, the files."""

    sender: str
    key: str
    known: bool
    files: tuple[Path, ...]


class Changed(msgspec.Struct, frozen=True):
    """An edit: the new revision, and whether a number changed (then it is a draft again)."""

    revision: int
    numbers: bool


def export_book(paths: Sequence[Path], sender: str, out: Path) -> int:
    """Write procedures of files and folders as one signed file; gives how many.

    Raises: InputError: procedure-bad, parcel-bad (the file is there already). RecordError: key-unusable.
    """
    files = [file for path in paths for file in (sorted(path.glob("*.yaml")) if path.is_dir() else [path])]
    loaded = [load_procedure(file) for file in files]
    key = load_key(data_folder())
    parcel = pack_signed(loaded, sender, read_public(key.public_pem), key.sign)
    try:
        with out.open("xb") as target:
            target.write(parcel)
    except OSError as error:
        raise InputError(Code.PARCEL_BAD, error.strerror or "not writable", str(out)) from None
    return len(loaded)


def import_book(path: Path, into: Path, keys: Sequence[str]) -> Taken:
    """Take procedures of a signed file into a folder; all of it or nothing, and all as drafts.

    Args: keys: senders' public keys (hex) that are accepted; empty: any, and the sender's name is only claimed.
    Raises: InputError: parcel-bad. ProcedureError: a procedure of it has errors.
    """
    try:
        data = path.read_bytes()
        received = unpack(data, keys or None)
        into.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(Code.PARCEL_BAD, error.strerror or "not readable", str(path)) from None
    return Taken(received.sender, received.key, bool(keys), keep(received, into))


def set_value(path: Path, place: str, value: str) -> Changed:
    """Set one value; remarks and order stay. Raises InputError, ProcedureError: nothing is written."""
    before = load_procedure(path)
    text = set_field(before.text, place, value, path.name)
    beside = path.with_name(f".{path.name}.new")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)
    after = load_procedure(path)
    return Changed(after.procedure.revision, hash_of_numbers(before) != hash_of_numbers(after))
