"""The workshop's own procedures beside the program's book, read anew at the begin of each job."""

from __future__ import annotations

from pathlib import Path

from asleft.book.layouts import use_own_layouts
from asleft.book.shelf import Book, load_book

from .settings import data_folder


def with_own(book: Book, folder: Path | None = None) -> Book:
    """The book with the workshop's own procedures; one of these replaces another with the same id.

    Layouts of codings in its folder ``layouts`` are found from now on, too.
    Args: folder: of the own ones; the data folder's when None. Files that cannot be used stand among the problems.
    """
    own_folder = folder or data_folder() / "procedures"
    bad_layouts = use_own_layouts(own_folder / "layouts")
    if not own_folder.is_dir():
        return book
    own = load_book(own_folder)
    named = {p.procedure.id for p in own.procedures}
    others = tuple(p for p in book.procedures if p.procedure.id not in named)
    return Book((*others, *own.procedures), (*book.problems, *bad_layouts, *own.problems))
