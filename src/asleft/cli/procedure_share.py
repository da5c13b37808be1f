"""``asleft procedure export``, ``import`` and ``set``: books as one signed file; edits that keep remarks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def export(
    paths: Annotated[list[Path], typer.Argument(help="procedure files or folders")],
    out: Annotated[Path, typer.Option(help="file to write")],
    sender: Annotated[str, typer.Option(help="your workshop's name")],
) -> None:
    """Procedures as one file of data, signed with the workshop's key."""
    from asleft.job.book_share import export_book  # noqa: PLC0415

    typer.echo(f"{export_book(paths, sender, out)} procedure(s) in {out}")


def take(
    file: Annotated[Path, typer.Argument(help="signed file of procedures")],
    into: Annotated[Path, typer.Option(help="folder to write to")],
    key: Annotated[list[str] | None, typer.Option(help="public key (hex) that is accepted; repeatable")] = None,
) -> None:
    """Take in a signed file of procedures: all of it or nothing. What arrives is a draft here."""
    from asleft.job.book_share import import_book  # noqa: PLC0415

    taken = import_book(file, into, key or [])
    claim = "" if taken.known else " (claimed: no --key was given)"
    typer.echo(f"{len(taken.files)} procedure(s) from {taken.sender}{claim}, key {taken.key}; all are drafts here")


def set_value(
    file: Annotated[Path, typer.Argument(help="procedure file")],
    place: Annotated[str, typer.Argument(help="field as messages name it, such as entry[3].low")],
    value: Annotated[str, typer.Argument(help="as the file would have it, quotes included")],
) -> None:
    """Set one value; remarks and order stay, the revision counts up, a changed number makes it a draft again."""
    from asleft.job import book_share  # noqa: PLC0415

    changed = book_share.set_value(file, place, value)
    typer.echo(f"revision {changed.revision}{'; a number changed: it is a draft again' if changed.numbers else ''}")
