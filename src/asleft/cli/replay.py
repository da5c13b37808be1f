"""``asleft replay``: a recording of values through the same line, to a signed record with origin *replay*."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def replay(
    file: Annotated[Path, typer.Argument(help="CSV or MDF4 recording")],
    column_map: Annotated[
        Path | None, typer.Option("--map", help="column map; else one that fits is looked for")
    ] = None,
    out: Annotated[Path, typer.Option(help="folder for record.zip, report.pdf and key.pem")] = Path("out"),
    target: Annotated[float | None, typer.Option(help="idle speed as the manual prints it, rpm")] = None,
    tolerance: Annotated[float, typer.Option(help="its tolerance as printed, rpm")] = 50.0,
    as_json: Annotated[bool, typer.Option("--json", help="verdicts as JSON")] = False,
) -> None:
    """Judge an idle from a recording. Exit code 1 when the proof fails; a reasoned CANNOT TELL is 0."""
    from asleft.job.replaying import replay_file  # noqa: PLC0415

    result = replay_file(file, out, column_map=column_map, target_rpm=target, tolerance_rpm=tolerance)
    typer.echo(result.as_json() if as_json else "\n".join(result.lines()))
    raise typer.Exit(1 if result.failed else 0)
