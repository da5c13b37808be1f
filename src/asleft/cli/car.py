"""``asleft car``: the workshop's maps of its cars."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[Path | None, typer.Option("--data", help="data folder; otherwise ASLEFT_DATA or the user's own")]

car = typer.Typer(help="Maps of cars: where modules listen, and what carries which signal.", no_args_is_help=True)


@car.command("list")
def list_maps(as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False, data: Folder = None) -> None:
    """Maps in the data folder. Exit code 1 when one cannot be used."""
    import json  # noqa: PLC0415

    from asleft.job.car_maps import car_maps  # noqa: PLC0415
    from asleft.job.settings import data_folder  # noqa: PLC0415

    files = car_maps(data or data_folder())
    if as_json:
        rows = [
            {
                "file": f.path.name,
                "id": f.found.id if f.found else "",
                "title": f.found.title if f.found else "",
                "problems": list(f.problems),
            }
            for f in files
        ]
        typer.echo(json.dumps(rows, ensure_ascii=False))
    for f in () if as_json else files:
        typer.echo(f"{f.found.id}: {f.found.title}" if f.found else "\n".join(f.problems))
    if not files and not as_json:
        typer.echo("none yet: asleft car draft --link ADDRESS writes one to complete")
    raise typer.Exit(1 if any(f.found is None for f in files) else 0)


@car.command("check")
def check(path: Annotated[Path, typer.Argument(help="map file")]) -> None:
    """Everything that is wrong in a map, with file, line, field and what to write; else what it says."""
    from asleft.job.car_maps import map_file, shown  # noqa: PLC0415

    found = map_file(path)
    typer.echo("\n".join(shown(found.found) if found.found else found.problems))
    raise typer.Exit(0 if found.found else 1)


@car.command("draft")
def draft(
    link: Annotated[str, typer.Option(help="bench:petrol, can:..., kline:..., doip:...")],
    further: Annotated[
        str,
        typer.Option(
            "--further", metavar="NAME", help="search further addresses too; NAME has agreed; engine off, car standing"
        ),
    ] = "",
    into: Annotated[Path | None, typer.Option(help="file to write; otherwise it is printed")] = None,
) -> None:
    """A map to complete, from the modules that answer on a link. Only reads."""
    from asleft.job.car_maps import draft_of  # noqa: PLC0415
    from asleft.model.errors import Code, InputError  # noqa: PLC0415
    from asleft.practice.looking import look  # noqa: PLC0415

    if into is not None and into.exists():
        raise InputError(Code.SETTING_BAD, "it is there already; choose another name", str(into))
    picture, _origin = look(link, agreed_by=further)
    text = draft_of(picture)
    if into is None:
        typer.echo(text, nl=False)
        return
    into.parent.mkdir(parents=True, exist_ok=True)
    into.write_text(text, encoding="utf-8")
    typer.echo(f"{into}: complete it, then asleft car check {into}")
