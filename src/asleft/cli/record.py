"""``asleft record``: copies, exports, corrections and erasing, for the records of a data folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .key import Folder, folder_of

records = typer.Typer(no_args_is_help=True, help="Records: copies, exports, corrections, erasing personal data.")

Job = Annotated[str, typer.Argument(help="number of the job")]
By = Annotated[str, typer.Option(help="who does it")]
Reason = Annotated[str, typer.Option(help="why, in words; it is kept")]


@records.command("backup")
def backup(target: Annotated[Path, typer.Argument(help="file to write")], data: Folder = None) -> None:
    """Copy all journals into one checked file, also while jobs are written. Signing keys are not in it."""
    from asleft.job.records import back_up  # noqa: PLC0415

    typer.echo(f"{target}: {len(back_up(folder_of(data), target))} job(s)")


@records.command("restore")
def restore(copy: Annotated[Path, typer.Argument(help="file made by backup")], data: Folder = None) -> None:
    """Put a copy's journals, and the history of keys, into a data folder that has none."""
    from asleft.job.keyring import has_key  # noqa: PLC0415
    from asleft.job.records import restore as put_back  # noqa: PLC0415

    folder = folder_of(data)
    typer.echo(f"{folder}: {len(put_back(copy, folder))} job(s)")
    if not has_key(folder):
        typer.echo("now put the signing key back, or take a new one into use: asleft key rotate --lost --reason …")


@records.command("export")
def export(
    job: Job,
    target: Annotated[Path, typer.Argument(help="record.zip to write")],
    redacted: Annotated[bool, typer.Option("--redacted", help="leave personal texts out; it still checks")] = False,
    stamp: Annotated[Path | None, typer.Option(help="time-stamp token over its head (RFC 3161)")] = None,
    data: Folder = None,
) -> None:
    """Write the signed record of a job, whole or without personal texts."""
    from asleft.job.records import export as write  # noqa: PLC0415

    token = stamp.read_bytes() if stamp else b""
    typer.echo(f"head {write(folder_of(data), job, target, redacted=redacted, stamp=token)}")


@records.command("correct")
def correct(
    job: Job,
    event: Annotated[int, typer.Argument(help="sequence of the event that is wrong")],
    text: Annotated[str, typer.Argument(help="what is right")],
    by: By,
    reason: Reason,
    data: Folder = None,
) -> None:
    """Say what should stand in place of an earlier event; that one stays, also in a closed job."""
    from asleft.job.records import correct as say  # noqa: PLC0415

    typer.echo(f"event {say(folder_of(data), job, event, text, by=by, reason=reason)}")


@records.command("erase")
def erase(
    job: Job,
    by: By,
    reason: Reason,
    yes: Annotated[bool, typer.Option("--yes", help="do not ask")] = False,
    data: Folder = None,
) -> None:
    """Erase the personal texts of a job for good. The record still checks; copies given away are not reached."""
    from asleft.job.records import erase as wipe  # noqa: PLC0415

    if not yes:
        typer.confirm(f"VIN, customer and all personal texts of {job} are gone for good. Erase them?", abort=True)
    typer.echo(f"{wipe(folder_of(data), job, by=by, reason=reason)} personal text(s) erased")


@records.command("due")
def due(
    years: Annotated[int, typer.Option(min=0, max=100, help="how long the workshop keeps personal texts")] = 7,
    data: Folder = None,
) -> None:
    """List jobs whose personal texts are kept longer than the workshop wants to. Nothing is erased."""
    from asleft.job.records import due_for_erasure  # noqa: PLC0415

    jobs = due_for_erasure(folder_of(data), years)
    for job in jobs:
        typer.echo(job)
    typer.echo(f"{len(jobs)} job(s) older than {years} years with personal texts")


@records.command("verifier-page")
def verifier_page(target: Annotated[Path, typer.Argument(help="HTML file to write")]) -> None:
    """Write the page that checks a record in any browser without a network, to give away with records."""
    from asleft.job.records import write_verifier_page  # noqa: PLC0415

    write_verifier_page(target)
    typer.echo(f"{target}: open it in a browser and choose a record.zip")
