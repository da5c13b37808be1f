"""``asleft listen``: beside another tester, sending nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def listen(
    link: Annotated[str, typer.Option("--link", help="can:INTERFACE:CHANNEL?bitrate=..., log:FILE or bench:petrol")],
    seconds: Annotated[float | None, typer.Option(help="longest time; else until Ctrl-C or the log's end")] = None,
    save: Annotated[Path | None, typer.Option(help="folder for frame logs and messages; keys are blanked")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="only the sum, not every exchange")] = False,
) -> None:
    """Hear what another tester and the modules say: modules, exchanges in words, changes of the car. Sends nothing.

    The interface is opened listen-only; one that cannot be told to acknowledge nothing is refused.
    """
    from datetime import UTC, datetime  # noqa: PLC0415

    from asleft.job.listening import exchange_line, heard_lines  # noqa: PLC0415
    from asleft.job.looking import picture_lines  # noqa: PLC0415
    from asleft.practice.looking import listen as listen_at  # noqa: PLC0415

    stem = f"heard-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    heard = listen_at(
        link,
        lambda exchange: None if quiet else typer.echo(exchange_line(exchange)),
        seconds=seconds,
        save=(save, stem) if save else None,
    )
    for line in (*heard_lines(heard), *picture_lines(heard.picture, heard.origin.value)):
        typer.echo(line)
    if save and not heard.trouble:
        typer.echo(f"saved: {save / stem}.log, .asc, .blf, .messages.txt")
