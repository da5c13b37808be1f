"""``asleft look``: the picture of the car on a link, read only."""

from __future__ import annotations

from typing import Annotated

import typer


def look(
    link: Annotated[str, typer.Option("--link", help="address of the link, for example bench:petrol?seed=2")],
    as_json: Annotated[bool, typer.Option("--json", help="the picture as JSON")] = False,
) -> None:
    """Read all modules once: identification, trouble codes, readiness, standard data; every gap with its reason."""
    import msgspec  # noqa: PLC0415

    from asleft.job.looking import picture_lines  # noqa: PLC0415
    from asleft.practice.looking import look as look_at  # noqa: PLC0415

    picture, origin = look_at(link)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode({"origin": origin, "picture": picture}), indent=2).decode())
        return
    for line in picture_lines(picture, origin.value):
        typer.echo(line)
