"""``asleft plan``: what work calls for, why, and the best order."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Form(StrEnum):
    """How the plan is given."""

    TEXT = "text"
    JSON = "json"
    SVG = "svg"


def plan(
    work: Annotated[list[str], typer.Argument(help="work done: id or words, each in quotes")],
    make: Annotated[str, typer.Option(help="make of the car")] = "",
    model: Annotated[str, typer.Option(help="model")] = "",
    year: Annotated[int | None, typer.Option(help="model year")] = None,
    form: Annotated[Form, typer.Option(help="text, json or svg")] = Form.TEXT,
    out: Annotated[Path | None, typer.Option(help="file to write to; else standard output")] = None,
) -> None:
    """Needs with their reasons, and a timed track in the best order. Nothing is read from a car."""
    import msgspec  # noqa: PLC0415

    from asleft.job.plans import plan_for  # noqa: PLC0415

    planned = plan_for(work, make, model, year)
    if form is Form.TEXT:
        text = "\n".join(planned.lines()) + "\n"
    elif form is Form.SVG:
        text = planned.svg()
    else:
        text = msgspec.json.format(msgspec.json.encode(planned), indent=2).decode() + "\n"
    if out is None:
        typer.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8")
