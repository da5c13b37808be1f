"""``asleft look``: the picture of the car on a link, read only."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def look(
    link: Annotated[
        str, typer.Option("--link", help="bench:petrol?seed=2, can:..., kline:..., doip:..., log:FILE, recording:FILE")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="the picture as JSON")] = False,
    further: Annotated[
        str,
        typer.Option(
            "--further", metavar="NAME", help="search further addresses too; NAME has agreed; engine off, car standing"
        ),
    ] = "",
    save: Annotated[Path | None, typer.Option(help="folder for what went over the link; keys are blanked")] = None,
) -> None:
    """Read all modules once: identification, trouble codes, readiness, standard data; every gap with its reason.

    --further asks some 650 more addresses whether anybody is there, one at a time, which takes about a minute and may
    wake modules or set communication codes on some cars: so a person agrees, and it needs engine off and standing.

    Of a log of frames: the picture that another tester's questions made. Of a recording of values: what it holds.
    """
    from datetime import UTC, datetime  # noqa: PLC0415

    import msgspec  # noqa: PLC0415

    from asleft.job.looking import picture_lines  # noqa: PLC0415
    from asleft.practice.looking import look as look_at  # noqa: PLC0415

    stem = f"looked-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    picture, origin = look_at(link, (save, stem) if save else None, further)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode({"origin": origin, "picture": picture}), indent=2).decode())
        return
    for line in picture_lines(picture, origin.value):
        typer.echo(line)
