"""``asleft prove``: a procedure's criteria on a recording or on a link."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def prove(
    procedure: Annotated[Path, typer.Argument(help="procedure file whose criteria are used")],
    recording: Annotated[
        list[str] | None,
        typer.Option(help="CSV, MDF4 or Parquet recording; NAME=FILE where the criteria compare several"),
    ] = None,
    column_map: Annotated[Path | None, typer.Option("--map", help="its column map; else one that fits")] = None,
    link: Annotated[str, typer.Option(help="bench:petrol?seed=1, can:..., kline:..., doip:..., instead")] = "",
    seconds: Annotated[float, typer.Option(help="how long the link is recorded, s")] = 60.0,
    car: Annotated[Path | None, typer.Option(help="map of the car: its identifiers and broadcasts too")] = None,
    typed: Annotated[Path | None, typer.Option(help="values read off gauges (see docs/proof.md)")] = None,
    keep: Annotated[Path | None, typer.Option(help="file for the link's recording: .csv, .mf4 or .parquet")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="verdicts as JSON")] = False,
) -> None:
    """Verdicts with number lines and sentences. Exit code 1 when a criterion fails; a reasoned CANNOT TELL is 0."""
    from asleft.job.proofs import judgements_json, lines_of, prove_recordings  # noqa: PLC0415
    from asleft.model.verdict import Verdict  # noqa: PLC0415

    if bool(recording) is bool(link):
        raise typer.BadParameter("give recordings or a link, one of them")
    if recording and (car or keep):
        raise typer.BadParameter("--car and --keep go with --link")
    if recording:
        judgements, origin = prove_recordings(procedure, recording, column_map, typed), "replay"
    else:
        from asleft.practice.proving import prove_on_link  # noqa: PLC0415

        judgements, told = prove_on_link(procedure, link, seconds, car, typed, keep)
        origin = told.value
    typer.echo(judgements_json(judgements, origin) if as_json else "\n".join(lines_of(judgements)))
    raise typer.Exit(1 if any(j.verdict is Verdict.FAIL for j in judgements) else 0)
