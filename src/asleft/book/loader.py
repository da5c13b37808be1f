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
from .files import ProcedureError, struct_of, tree_of
from .nodes import Map
from .procedure import Procedure
from .quick import QuickProcedure
from .remark import Lines

__all__ = ["LoadedProcedure", "ProcedureError", "load_procedure", "read_procedure"]


class LoadedProcedure(msgspec.Struct, frozen=True):
    """A procedure with the text it was read from.

    Attributes:
        procedure: the values.
        text: the file as it was read: what a record keeps.
        digest: SHA-256 of the text's UTF-8 bytes, hex.
        lines: where each field stands.
        quick: it is a quick procedure, valid as it is, for work beside a tester.
    """

    procedure: Procedure
    text: str
    digest: str
    lines: Lines
    quick: bool = False


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
    text, tree = tree_of(data, name)
    if quick := isinstance(tree, Map) and "quick" in tree.items:
        written, lines = struct_of(tree, name, QuickProcedure)
        procedure = written.procedure()
    else:
        procedure, lines = struct_of(tree, name, Procedure)
    complaints = check(procedure)
    if complaints:
        raise ProcedureError(tuple(sorted((lines.remark(c) for c in complaints), key=lambda r: r.line)))
    return LoadedProcedure(procedure, text, hashlib.sha256(data).hexdigest(), lines, quick)
