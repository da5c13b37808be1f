"""A procedure for a reader: what it is, its numbers as printed with value and bytes, its ways dry, what it may do."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec

from asleft.book.dry_run import DryLine, dry_run
from asleft.book.files import ProcedureError
from asleft.book.lint import lint_book
from asleft.book.loader import load_procedure
from asleft.book.numbers import NumberLine, prompt_of
from asleft.book.procedure import Procedure
from asleft.book.remark import Remark
from asleft.book.trust import from_page
from asleft.model.errors import Code, InputError

from .book_share import Changed, set_value
from .book_trust import Allowed, Checked, allowed, check_procedure, number_lines
from .sequences import sequence_in
from .settings import BOOK, data_folder


class BookEntry(msgspec.Struct, frozen=True):
    """A procedure as it is read on a page.

    Attributes:
        procedure: the values. numbers: all, with printed form, value, bytes, source and names. ways: words of each way
        that it offers, with its dry run. remarks: of the lint. allowed: level, and why what may not be done.
        own: it is the workshop's own file and may be edited. by_hand: it has a sequence to rehearse.
    """

    procedure: Procedure
    digest: str
    numbers: tuple[NumberLine, ...]
    ways: dict[str, tuple[DryLine, ...]]
    remarks: tuple[Remark, ...]
    allowed: Allowed
    own: bool
    by_hand: bool


def own_folder() -> Path:
    """The workshop's own procedures."""
    return data_folder() / "procedures"


def book_path(name: str) -> Path:
    """The file of a procedure in the program's book or the workshop's own. Raises InputError: procedure-missing."""
    for folder in (own_folder(), BOOK):
        for path in sorted(folder.glob("*.yaml")) if folder.is_dir() else ():
            if path.stem == name or _id_of(path) == name:
                return path
    raise InputError(Code.PROCEDURE_MISSING, name[:80])


def _id_of(path: Path) -> str:
    try:
        return load_procedure(path).procedure.id
    except ProcedureError:
        return ""


def read_entry(name: str) -> BookEntry:
    """One procedure. Raises InputError: procedure-missing. ProcedureError: its file cannot be used."""
    path = book_path(name)
    loaded = load_procedure(path)
    procedure = loaded.procedure
    ways = {way.value: dry_run(procedure, way) for way in procedure.ways.offered}
    own = path.parent == own_folder()
    by_hand = sequence_in(procedure) is not None
    remarks = tuple(lint_book([loaded]))
    return BookEntry(procedure, loaded.digest, number_lines(path), ways, remarks, allowed(path), own, by_hand)


def prompts(name: str) -> dict[str, str]:
    """Place -> what a second person looks up and types, without its number. Raises: as ``read_entry``."""
    loaded = load_procedure(book_path(name))
    return {number.place: prompt_of(loaded.procedure, number) for number in from_page(loaded)}


def check_typed(name: str, by: str, typed: Mapping[str, str]) -> Checked:
    """A second typing of all numbers; nothing is kept unless all agree. Raises InputError: check-failed."""
    left = iter([typed.get(place, "") for place in prompts(name)])
    return check_procedure(book_path(name), by, lambda _prompt: next(left, ""))


def change_own(name: str, place: str, value: str) -> Changed:
    """Set one value of an own procedure; remarks and order in the file stay.

    Raises: InputError: procedure-bad, the program's book is not edited. ProcedureError: nothing is written.
    """
    path = book_path(name)
    if path.parent != own_folder():
        raise InputError(Code.PROCEDURE_BAD, "this is the program's own book; import or write one of your own")
    return set_value(path, place, value)
