"""``asleft procedure from-odx`` and ``from-dbc``: what open data bases hold, as reads, routines, writes and signals."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def from_odx(
    file: Annotated[Path, typer.Argument(help="data base: .pdx or .odx-d")],
    variant: Annotated[str, typer.Option(help="which variant; else the only one")] = "",
    service: Annotated[list[str] | None, typer.Option(help="take this service; may be given several times")] = None,
    function: Annotated[str, typer.Option(help="function of the catalogue that they serve")] = "",
    by: Annotated[str, typer.Option(help="who enters it")] = "",
    name: Annotated[str, typer.Option(help="name in the book; else made from variant and function")] = "",
    module: Annotated[str, typer.Option(help="control module")] = "engine",
    make: Annotated[str, typer.Option(help="for which make")] = "",
    model: Annotated[str, typer.Option(help="for which model")] = "",
    out: Annotated[Path | None, typer.Option(help="file to write; else it is printed")] = None,
) -> None:
    """Services of a data base as a draft. Without --service: what each would become, or why it is refused."""
    from asleft.job.book_import import Frame, odx_services, odx_text  # noqa: PLC0415

    if not service:
        found = odx_services(file, variant)
        for one in found.taken:
            typer.echo(one.text)
        for refused, why in found.refused.items():
            typer.echo(f"refused: {refused}: {why}")
        typer.echo(f"{len(found.taken)} taken, {len(found.refused)} refused")
        return
    if not function or not by:
        raise typer.BadParameter("--function and --by are wanted with --service")
    text = odx_text(file, variant, service, Frame(function, by, name, module, make, model))
    if out is None:
        typer.echo(text, nl=False)
    else:
        with out.open("x", encoding="utf-8") as target:
            target.write(text)
        typer.echo(f"written: {out}; a draft: complete and lint it")


def from_dbc(
    file: Annotated[Path, typer.Argument(help="network description: .dbc")],
    as_json: Annotated[bool, typer.Option("--json", help="as JSON")] = False,
) -> None:
    """Signals that modules broadcast, with their units brought to ours, and those that are refused with why."""
    import msgspec  # noqa: PLC0415

    from asleft.job.book_import import dbc_signals  # noqa: PLC0415

    found = dbc_signals(file)
    if as_json:
        typer.echo(msgspec.json.format(msgspec.json.encode(found), indent=2).decode())
        return
    for signal in found.taken:
        typer.echo(signal.text)
    for refused, why in found.refused.items():
        typer.echo(f"refused: {refused}: {why}")
    typer.echo(f"{len(found.taken)} taken, {len(found.refused)} refused")
