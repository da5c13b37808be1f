"""``asleft verify``: check a record without believing anybody."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def verify(
    file: Annotated[Path, typer.Argument(help="record.zip, or a folder with its four files")],
    head: Annotated[str, typer.Option(help="head hash from the customer's copy, to catch a rewritten record")] = "",
    key: Annotated[Path | None, typer.Option(help="public key of the workshop, if you hold it")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="findings as JSON")] = False,
) -> None:
    """Check chain, signature and counts of a record; exit code 1 when something does not hold."""
    from asleft.job.checking import check_record, findings_json, findings_lines  # noqa: PLC0415

    findings = check_record(file, held_head=head, public_key=key.read_bytes() if key else b"")
    if as_json:
        typer.echo(findings_json(findings))
    else:
        for line in findings_lines(findings):
            typer.echo(line)
    raise typer.Exit(0 if findings.intact else 1)
