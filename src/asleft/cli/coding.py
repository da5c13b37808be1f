"""``asleft coding``: codings in words, compared, composed; no link, nothing is sent."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

codings = typer.Typer(no_args_is_help=True, help="Codings without a car: in words, compared, composed.")
LayoutFile = Annotated[Path, typer.Argument(help="layout file")]
Json = Annotated[bool, typer.Option("--json", help="as JSON")]


@codings.command("decode")
def decode(
    layout: LayoutFile, coding: Annotated[str, typer.Argument(help="bytes, hex")], as_json: Json = False
) -> None:
    """Every option in words, and what no source explains."""
    from asleft.job.coding import decode_coding  # noqa: PLC0415

    found = decode_coding(layout, coding)
    if as_json:
        _json(found)
        return
    typer.echo("a new module's: not coded yet" if found.blank else "coded")
    for option in found.options:
        typer.echo(f"{option.name}: {option.words}")
    for number, holds in enumerate(found.checks_hold, 1):
        typer.echo(f"checksum {number}: {'holds' if holds else 'does NOT hold'}")
    for rule in found.broken:
        typer.echo(f"broken rule {rule.id}: {rule.text}")
    typer.echo(f"bits that the source does not explain: {found.unknown}")


@codings.command("compare")
def compare(
    layout: LayoutFile,
    before: Annotated[str, typer.Argument(help="bytes, hex")],
    after: Annotated[str, typer.Argument(help="bytes, hex")],
    as_json: Json = False,
) -> None:
    """What differs between two codings, in words."""
    from asleft.job.coding import compare_codings  # noqa: PLC0415

    found = compare_codings(layout, before, after)
    show = _json if as_json else _changes
    show(found)


@codings.command("compose")
def compose(
    layout: LayoutFile,
    base: Annotated[str, typer.Argument(help="coding as read, hex: its unknown bits are kept")],
    answers: Annotated[list[str], typer.Argument(help="option=value …")],
    as_json: Json = False,
) -> None:
    """The bytes for these options, and what they change. Nothing is sent."""
    from asleft.job.coding import compose_coding  # noqa: PLC0415

    data, found = compose_coding(layout, base, answers)
    if as_json:
        _json({"coding": data, "comparison": found})
        return
    typer.echo(data)
    _changes(found)


def _changes(found: Any) -> None:
    for change in found.changes:
        typer.echo(change.text + (f" (test: {change.test})" if change.test else ""))
    if found.unknown:
        typer.echo(f"bits that the source does not explain differ: {found.unknown}")
    if found.same:
        typer.echo("no option differs")


def _json(value: Any) -> None:
    import msgspec  # noqa: PLC0415

    typer.echo(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())
