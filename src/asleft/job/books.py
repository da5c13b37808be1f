"""The book for faces: lint, dry run and finding, as values and lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from asleft.book.dry_run import DryLine, dry_run
from asleft.book.files import ProcedureError
from asleft.book.identifier import Identifier, parse
from asleft.book.layouts import use_own_layouts
from asleft.book.lint import lint_book
from asleft.book.loader import LoadedProcedure, load_procedure
from asleft.book.procedure import Way
from asleft.book.remark import Level, Remark
from asleft.model.errors import Code, InputError

from .settings import BOOK, TEMPLATES


def lint_files(paths: Sequence[Path]) -> tuple[Remark, ...]:
    """All remarks on procedure files; folders mean their ``*.yaml``; no paths, the program's own book and templates.

    Raises: InputError: procedure-missing, a path is not there.
    """
    _with_layouts_of(paths)
    files = [file for path in paths or (BOOK, TEMPLATES) for file in _files(path)]
    loaded: list[LoadedProcedure] = []
    remarks: list[Remark] = []
    for file in files:
        try:
            loaded.append(load_procedure(file))
        except ProcedureError as bad:
            remarks.extend(bad.remarks)
    return (*remarks, *lint_book(loaded))


def _with_layouts_of(paths: Sequence[Path]) -> None:
    """A file of the workshop names the layouts beside it."""
    folder = next((path if path.is_dir() else path.parent for path in paths), None)
    if folder is not None and folder.resolve() != BOOK.resolve():
        use_own_layouts(folder / "layouts")


def _files(path: Path) -> list[Path]:
    if path.is_dir():
        return sorted(path.glob("*.yaml"))
    if not path.is_file():
        raise InputError(Code.PROCEDURE_MISSING, "no such file", str(path))
    return [path]


def has_errors(remarks: Sequence[Remark]) -> bool:
    """Whether a file cannot be used."""
    return any(r.level is Level.ERROR for r in remarks)


def dry_run_of(path: Path, way: str, identifier: str, coding: str = "") -> tuple[DryLine, ...]:
    """Every step and every byte that would be sent, with its effect, without a car.

    Args: way: ``by-wire``, ``beside``, ``by-hand``. identifier: as the source prints it; empty leaves it blank.
        coding: composed before, hex.
    Raises: InputError: procedure-bad, identifier-impossible, procedure-missing (the way has no steps).
    """
    _with_layouts_of((path,))
    procedure = load_procedure(path).procedure
    if way not in tuple(Way):
        raise InputError(Code.PROCEDURE_BAD, f"no way {way!r}; there are {', '.join(Way)}", str(path))
    chosen: Identifier | None = None
    if identifier:
        if procedure.identifier is None:
            raise InputError(Code.IDENTIFIER_IMPOSSIBLE, "this procedure has no routine identifier", str(path))
        chosen = parse(identifier, procedure.identifier.printed)
    lines = dry_run(procedure, Way(way), chosen, _coding(coding, path) if coding else None)
    if not lines:
        raise InputError(Code.PROCEDURE_MISSING, f"it has no steps for the way {way}", str(path))
    return lines


def _coding(text: str, path: Path) -> bytes:
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise InputError(Code.CODING_REFUSED, f"{text!r} is no row of hexadecimal bytes", str(path)) from None
