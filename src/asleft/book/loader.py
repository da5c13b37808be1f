"""Procedure files to procedures. Every error names file, line, procedure, field, why, and what to write instead.

Use::

    loaded = load_procedure(Path("throttle-stop-learn-aldra.yaml"))
    loaded.procedure.name, loaded.digest
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError

from .check import check
from .form import build, shape
from .nodes import Map, Scalar, Tree, Unreadable, parse, read_text
from .procedure import Procedure
from .remark import Complaint, Level, Lines, Remark


class LoadedProcedure(msgspec.Struct, frozen=True):
    """A procedure with the text it was read from.

    Attributes:
        procedure: the values.
        text: the file as it was read: what a record keeps.
        digest: SHA-256 of the text's UTF-8 bytes, hex.
        lines: where each field stands.
    """

    procedure: Procedure
    text: str
    digest: str
    lines: Lines


class ProcedureError(InputError):
    """A procedure file that cannot be used; ``remarks`` holds every error in it."""

    def __init__(self, remarks: tuple[Remark, ...]) -> None:
        self.remarks = remarks
        first, more = remarks[0], len(remarks) - 1
        rest = first.rest + (f"; and {more} more" if more else "")
        super().__init__(Code.PROCEDURE_BAD, rest, first.place)


def load_procedure(path: Path) -> LoadedProcedure:
    """Read one file.

    Raises: ProcedureError: procedure-bad, with all its errors. InputError: procedure-missing.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(Code.PROCEDURE_MISSING, error.strerror or "not readable", str(path)) from error
    return read_procedure(data, path.name)


def read_procedure(data: bytes, name: str) -> LoadedProcedure:
    """A procedure from the bytes of a file called ``name``. Raises ProcedureError."""
    try:
        text = read_text(data)
        tree = parse(text)
    except Unreadable as bad:
        raise ProcedureError(tuple(_unread(name, line, c) for line, c in bad.complaints)) from None
    shaped = shape(tree, Procedure)
    lines = Lines(name, _id_of(tree), shaped.lines)
    if shaped.complaints:
        raise ProcedureError(tuple(lines.remark(c) for c in shaped.complaints))
    procedure = build(shaped, Procedure)
    if isinstance(procedure, Complaint):
        raise ProcedureError((lines.remark(procedure),))
    complaints = check(procedure)
    if complaints:
        raise ProcedureError(tuple(sorted((lines.remark(c) for c in complaints), key=lambda r: r.line)))
    return LoadedProcedure(procedure, text, hashlib.sha256(data).hexdigest(), lines)


def _id_of(tree: Tree) -> str:
    found = tree.items.get("id") if isinstance(tree, Map) else None
    return found.text if isinstance(found, Scalar) else "?"


def _unread(name: str, line: int, complaint: Complaint) -> Remark:
    return Remark(Level.ERROR, complaint.code, name, line, "?", "", complaint.why, complaint.instead)
