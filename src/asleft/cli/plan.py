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
    fitted: Annotated[list[str] | None, typer.Option(help="the car has this; may be given again")] = None,
    not_fitted: Annotated[list[str] | None, typer.Option(help="the car does not have this")] = None,
    given: Annotated[str, typer.Option(help="the order you have in mind: functions, with commas")] = "",
    what_if: Annotated[list[str] | None, typer.Option(help="what moving costs or breaks: function=place")] = None,
    promised: Annotated[float | None, typer.Option(help="minutes until the car was promised")] = None,
    workshop: Annotated[Path | None, typer.Option(help="file with the workshop's own minutes")] = None,
    form: Annotated[Form, typer.Option(help="text, json or svg")] = Form.TEXT,
    out: Annotated[Path | None, typer.Option(help="file to write to; else standard output")] = None,
) -> None:
    """Needs with their reasons, and a timed track in the best order. Nothing is read from a car."""
    import msgspec  # noqa: PLC0415

    from asleft.job.planning import Asked  # noqa: PLC0415
    from asleft.job.plans import fittings, plan_for, workshop_from  # noqa: PLC0415
    from asleft.model.vin import NO_VIN  # noqa: PLC0415
    from asleft.model.work import Vehicle  # noqa: PLC0415

    asked = Asked(
        fittings(fitted or (), not_fitted or ()),
        *((workshop_from(workshop),) if workshop else ()),
        promised_min=promised,
        given=tuple(name.strip() for name in given.split(",") if name.strip()),
    )
    planned = plan_for(work, Vehicle(NO_VIN, make, model, year), asked, [_move(text) for text in what_if or ()])
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


def _move(text: str) -> tuple[str, int]:
    name, _, place = text.rpartition("=")
    if not name or not place.isdigit():
        raise typer.BadParameter(f"{text}: write function=place, such as idle-relearn=1")
    return name, int(place)
