"""``asleft verify``: check a record without believing anybody."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def verify(
    file: Annotated[Path, typer.Argument(help="record.zip, or a folder with its files")],
    head: Annotated[str, typer.Option(help="head hash from the customer's copy, to catch a rewritten record")] = "",
    key: Annotated[Path | None, typer.Option(help="public key of the workshop (PEM), if you hold it")] = None,
    history: Annotated[Path | None, typer.Option(help="the workshop's published history of keys")] = None,
    authority: Annotated[Path | None, typer.Option(help="certificates (PEM) whose time stamps you believe")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="findings as JSON")] = False,
) -> None:
    """Check a record; exit code 1 when something does not hold, or an asked-for time stamp does not."""
    from asleft.job.checking import Elsewhere, check_record, findings_json, findings_lines  # noqa: PLC0415

    held = Elsewhere(head, *(path.read_bytes() if path else b"" for path in (key, history, authority)))
    findings = check_record(file, held)
    if as_json:
        typer.echo(findings_json(findings))
    else:
        for line in findings_lines(findings):
            typer.echo(line)
    stamped = authority is None or (findings.stamp is not None and findings.stamp.believed)
    raise typer.Exit(0 if findings.intact and stamped else 1)
