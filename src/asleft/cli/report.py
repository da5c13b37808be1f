"""``asleft report``: a job's paper printed again, and the facts on it that no module tells."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Annotated

import typer

from .key import Folder, folder_of

reports = typer.Typer(no_args_is_help=True, help="The paper of a job, and facts that no module tells.")

Job = Annotated[str, typer.Argument(help="number of the job")]


@reports.command("print")
def print_(
    job: Job,
    target: Annotated[Path, typer.Argument(help="PDF to write")],
    paper: Annotated[str, typer.Option(help="a4 or letter; else as the settings say")] = "",
    language: Annotated[str, typer.Option(help="en or de; else as the settings say")] = "",
    redacted: Annotated[
        bool, typer.Option("--redacted", help="to give away: no customer, no plate, no record inside")
    ] = False,
    data: Folder = None,
) -> None:
    """Write the report of a job as PDF/A-3a, finished or not; the same events give the same bytes."""
    from asleft.job.papers import stored_report  # noqa: PLC0415

    changes = {"language": language, "locale": ""} if language else {}
    pdf = stored_report(folder_of(data), job, paper, redacted=redacted, **changes)
    target.write_bytes(pdf)
    typer.echo(f"{target}: {len(pdf)} bytes")


@reports.command("state")
def state(
    job: Job,
    key: Annotated[str, typer.Argument(help="what it is about: asleft report facts lists it")],
    text: Annotated[str, typer.Argument(help="the fact, in words or digits")],
    by: Annotated[str, typer.Option(help="who states it")],
    unit: Annotated[str, typer.Option(help="of a quantity")] = "",
    evidence: Annotated[str, typer.Option(help="measured, observed, declared or document")] = "declared",
    source: Annotated[str, typer.Option(help="instrument, display, paper or person it comes from")] = "",
    data: Folder = None,
) -> None:
    """Write a fact into the record of the job in hand, before it is closed. Nothing is taken back."""
    from asleft.job.client import JobClient  # noqa: PLC0415

    fact = {"key": key, "text": text, "unit": unit, "evidence": evidence, "source": source}
    asyncio.run(JobClient(folder_of(data)).state_facts(job, by, [fact]))
    typer.echo(f"{job}: {key} is on the record")


@reports.command("facts")
def facts() -> None:
    """List what can be stated."""
    from asleft.job.facts import fact_words  # noqa: PLC0415

    for key, words in fact_words():
        typer.echo(f"{key:20} {words}")
