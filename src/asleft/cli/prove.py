"""``asleft prove``: a procedure's criteria on a recording or on a link."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def prove(
    procedure: Annotated[Path, typer.Argument(help="procedure file whose criteria are used")],
    recording: Annotated[Path | None, typer.Option(help="CSV, MDF4 or Parquet recording")] = None,
    column_map: Annotated[Path | None, typer.Option("--map", help="its column map; else one that fits")] = None,
    link: Annotated[str, typer.Option(help="bench:petrol?seed=1, can:..., kline:..., doip:..., instead")] = "",
    seconds: Annotated[float, typer.Option(help="how long the link is recorded, s")] = 60.0,
    as_json: Annotated[bool, typer.Option("--json", help="verdicts as JSON")] = False,
) -> None:
    """Verdicts with number lines and sentences. Exit code 1 when a criterion fails; a reasoned CANNOT TELL is 0."""
    from asleft.job.proofs import judgements_json, lines_of, prove_recording  # noqa: PLC0415
    from asleft.model.verdict import Verdict  # noqa: PLC0415

    if (recording is None) is not bool(link):
        raise typer.BadParameter("give a recording or a link, one of them")
    if recording is not None:
        judgements, origin = prove_recording(procedure, recording, column_map), "replay"
    else:
        from asleft.practice.proving import prove_on_link  # noqa: PLC0415

        judgements, told = prove_on_link(procedure, link, seconds)
        origin = told.value
    typer.echo(judgements_json(judgements, origin) if as_json else "\n".join(lines_of(judgements)))
    raise typer.Exit(1 if any(j.verdict is Verdict.FAIL for j in judgements) else 0)
