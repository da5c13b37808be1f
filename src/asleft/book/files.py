"""Files of the closed form to values: the way procedures, catalogue and settings share."""

from __future__ import annotations

from typing import Generic, TypeVar

import msgspec

from asleft.model.errors import Code, InputError

from .form import build, shape
from .nodes import Map, Scalar, Tree, Unreadable, parse, read_text
from .remark import Complaint, Level, Lines, Remark

T = TypeVar("T", bound=msgspec.Struct)


class ProcedureError(InputError):
    """A file that cannot be used; ``remarks`` holds every error in it."""

    def __init__(self, remarks: tuple[Remark, ...]) -> None:
        self.remarks = remarks
        first, more = remarks[0], len(remarks) - 1
        rest = first.rest + (f"; and {more} more" if more else "")
        super().__init__(Code.PROCEDURE_BAD, rest, first.place)


class ReadFile(msgspec.Struct, Generic[T], frozen=True):
    """A value with the text it was read from and where each field stands."""

    value: T
    text: str
    lines: Lines


def tree_of(data: bytes, name: str) -> tuple[str, Tree]:
    """Text and tree of a file called ``name``. Raises ProcedureError."""
    try:
        text = read_text(data)
        return text, parse(text)
    except Unreadable as bad:
        raise ProcedureError(tuple(_unread(name, line, c) for line, c in bad.complaints)) from None


def struct_of(tree: Tree, name: str, kind: type[T]) -> tuple[T, Lines]:
    """A tree as a value of one struct. Raises ProcedureError."""
    shaped = shape(tree, kind)
    lines = Lines(name, id_of(tree), tree)
    if shaped.complaints:
        raise ProcedureError(tuple(lines.remark(c) for c in shaped.complaints))
    value = build(shaped, kind)
    if isinstance(value, Complaint):
        raise ProcedureError((lines.remark(value),))
    return value, lines


def read_struct(data: bytes, name: str, kind: type[T]) -> ReadFile[T]:
    """A value from the bytes of a file called ``name``. Raises ProcedureError."""
    text, tree = tree_of(data, name)
    value, lines = struct_of(tree, name, kind)
    return ReadFile(value, text, lines)


def id_of(tree: Tree) -> str:
    """What the file calls itself, or ``?``."""
    if not isinstance(tree, Map):
        return "?"
    name, quick = tree.items.get("id"), tree.items.get("quick")
    if isinstance(name, Scalar):
        return name.text
    return f"quick-{quick.text}" if isinstance(quick, Scalar) else "?"


def _unread(name: str, line: int, complaint: Complaint) -> Remark:
    return Remark(Level.ERROR, complaint.code, name, line, "?", "", complaint.why, complaint.instead)
