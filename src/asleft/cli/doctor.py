"""``asleft doctor`` and ``asleft support``: what stands in the way, and a bundle to send with a question."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

_SIGNS = {"good": "  ", "note": "- ", "bad": "! "}


def doctor(
    as_json: Annotated[bool, typer.Option("--json", help="the findings as JSON")] = False,
    data: Annotated[Path | None, typer.Option("--data", help="data folder")] = None,
) -> None:
    """Look at everything that work needs on this machine; nothing is changed. Exit code 1 when something is bad."""
    import msgspec  # noqa: PLC0415

    from asleft.job.doctor import State, examine  # noqa: PLC0415
    from asleft.job.settings import data_folder  # noqa: PLC0415

    findings = examine(data or data_folder())
    if as_json:
        typer.echo(msgspec.json.encode(findings).decode())
    else:
        for finding in findings:
            advice = f"  → {finding.advice}" if finding.advice else ""
            typer.echo(f"{_SIGNS[finding.state]}{finding.what}: {finding.said}{advice}")
    raise typer.Exit(1 if any(f.state is State.BAD for f in findings) else 0)


def support(
    into: Annotated[Path, typer.Argument(help="zip file to write")] = Path("asleft-support.zip"),
    data: Annotated[Path | None, typer.Option("--data", help="data folder")] = None,
) -> None:
    """Write a bundle to send with a question: how this machine stands; nothing of cars, people, keys or values."""
    from asleft.job.settings import data_folder  # noqa: PLC0415
    from asleft.job.support import bundle  # noqa: PLC0415

    names = bundle(data or data_folder(), into)
    typer.echo(f"{into}: {', '.join(names)}. Look into it before you send it.")
