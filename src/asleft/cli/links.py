"""``asleft links``: interfaces found on this machine, and what each kind of link needs."""

from __future__ import annotations

import typer


def links() -> None:
    """List what could lead to a car. Looks at this machine only; nothing is sent to a bus."""
    from asleft.job.looking import found_lines  # noqa: PLC0415

    for line in found_lines():
        typer.echo(line)
