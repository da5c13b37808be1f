"""``asleft procedure check``, ``trust``, ``withdraw``, ``restore`` and ``numbers``: who vouches for which number."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

File = Annotated[Path, typer.Argument(help="procedure file")]
By = Annotated[str, typer.Option(help="who: name or initials")]


def check(
    file: File,
    by: By,
    typed: Annotated[Path | None, typer.Option(help="file with one line a number; else each is asked for")] = None,
    on: Annotated[str, typer.Option(help="time, RFC 3339; else now")] = "",
) -> None:
    """Type every number once more from the page, without seeing the first typing."""
    from asleft.job.book_trust import check_procedure, typing_from  # noqa: PLC0415

    if typed is None:
        typer.echo("Open the source at its pages. What the file says is not shown.")
        done = check_procedure(file, by, lambda prompt: typer.prompt(prompt, default="", show_default=False), on)
    else:
        done = check_procedure(file, by, typing_from(typed), on)
    alone = "; the same person did both typings, and that is marked" if done.alone else ""
    typer.echo(f"{done.numbers} number(s) agree: {done.level.value}{alone}")


def trust(file: File, as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False) -> None:
    """The level of a procedure, and what it may do on a bench car and on a real one."""
    import msgspec  # noqa: PLC0415

    from asleft.job.book_trust import allowed  # noqa: PLC0415

    found = allowed(file)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(found), indent=2).decode())
        return
    typer.echo(f"{found.procedure}: {found.level.value}{f': {found.withdrawn}' if found.withdrawn else ''}")
    for what, why in found.may.items():
        typer.echo(f"{what}: {why or 'may'}")


def withdraw(file: File, by: By, why: Annotated[str, typer.Option(help="reason, for those who look for it")]) -> None:
    """Take a procedure out of use; it stays in the book and says why."""
    from asleft.job import book_trust  # noqa: PLC0415

    book_trust.withdraw(file, by, why)
    typer.echo(f"withdrawn: {why}")


def restore(file: File, by: By) -> None:
    """Take a withdrawal back; earlier checks of the same numbers count again."""
    from asleft.job import book_trust  # noqa: PLC0415

    book_trust.restore(file, by)
    typer.echo("no longer withdrawn")


def numbers(file: File, as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False) -> None:
    """Every number beside its printed form, bytes, source, who entered it and who checked it."""
    import msgspec  # noqa: PLC0415

    from asleft.job.book_trust import number_lines  # noqa: PLC0415

    lines = number_lines(file)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(lines), indent=2).decode())
        return
    for line in lines:
        typer.echo(line.text)
