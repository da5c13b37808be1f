"""``asleft procedure find``: procedures by car, function, words and module number, ranked with reasons."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def find(
    words: Annotated[list[str] | None, typer.Argument(help="function, words, part or software number")] = None,
    make: Annotated[str, typer.Option(help="the car's make")] = "",
    model: Annotated[str, typer.Option(help="the car's model")] = "",
    year: Annotated[int, typer.Option(help="model year; 0: not known")] = 0,
    engine: Annotated[str, typer.Option(help="engine code as printed")] = "",
    propulsion: Annotated[str, typer.Option(help="petrol, diesel, hybrid or electric")] = "",
    part: Annotated[str, typer.Option(help="module's part number as read")] = "",
    software: Annotated[str, typer.Option(help="module's software number as read")] = "",
    book: Annotated[list[Path] | None, typer.Option(help="folders of procedures; else the usual ones")] = None,
    count: Annotated[int, typer.Option(help="how many are shown")] = 10,
    as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False,
) -> None:
    """Find procedures, best first. Only an exact match of the car may run by wire; the others say what differs."""
    import msgspec  # noqa: PLC0415

    from asleft.job.book_find import Asked, find_procedures  # noqa: PLC0415

    asked = Asked(" ".join(words or ()), make, model, year or None, engine, propulsion, part, software)
    hits = find_procedures(asked, tuple(book or ()), count)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(hits), indent=2).decode())
        raise typer.Exit(0 if hits else 1)
    for hit in hits:
        told = "exact" if hit.exact else "not exact" if hit.differs else "no car given"
        typer.echo(f"{hit.id}: {hit.name} ({hit.level}, {told})")
        for line in (*(f"why: {r}" for r in hit.reasons), *(f"differs: {d}" for d in hit.differs)):
            typer.echo(f"    {line}")
    if not hits:
        typer.echo("nothing found; fewer or other words, or begin with the template of the function")
    raise typer.Exit(0 if hits else 1)
