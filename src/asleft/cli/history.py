"""``asleft history``: years of jobs: found, compared, counted, charted, given away and taken in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .key import Folder, folder_of

if TYPE_CHECKING:
    from asleft.job.history import History
    from asleft.job.history_rates import Share

histories = typer.Typer(
    no_args_is_help=True,
    help="Years of jobs. The index is a file in the data folder; ASLEFT_HISTORY gives PostgreSQL instead.",
)

Json = Annotated[bool, typer.Option("--json", help="as JSON")]
Origin = Annotated[str, typer.Option(help="vehicle, bench or replay; never mixed")]
Job = Annotated[str, typer.Argument(help="number of the job")]


@histories.command("search")
def search(
    words: Annotated[
        list[str] | None, typer.Argument(help="words or numbers; all must be there; end* is any end")
    ] = None,
    vin: Annotated[str, typer.Option(help="whole, or its last eight")] = "",
    plate: Annotated[str, typer.Option(help="plate")] = "",
    order: Annotated[str, typer.Option(help="order")] = "",
    module: Annotated[str, typer.Option(help="a module's part, software, hardware, serial number, calibration")] = "",
    code: Annotated[str, typer.Option(help="trouble code")] = "",
    procedure: Annotated[str, typer.Option(help="procedure or function")] = "",
    person: Annotated[str, typer.Option(help="who worked, confirmed or signed")] = "",
    since: Annotated[str, typer.Option(help="first day, UTC: 2031-04-17 or its beginning")] = "",
    until: Annotated[str, typer.Option(help="last day, UTC")] = "",
    origin: Annotated[str, typer.Option(help="vehicle, bench or replay; else all")] = "",
    count: Annotated[int, typer.Option(min=1, max=200, help="jobs on a page")] = 20,
    after: Annotated[str, typer.Option(help="the page after: as the page before said")] = "",
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """Find jobs, newest first. Exit code 1: none."""
    from asleft.job.history import Asked  # noqa: PLC0415

    asked = Asked(" ".join(words or ()), vin, plate, order, "", module, code, procedure, person, since, until, origin,
                  count, after)  # fmt: skip
    found = _opened(data).search(asked)
    if as_json:
        _json(found)
    else:
        for job in found.jobs:
            car = f"{job.make} {job.model}".strip()
            state = "released" if job.released else "closed, not released" if job.closed else "open"
            typer.echo(f"{job.opened[:16]}  {job.number}  {car}  {job.vin}  {state}, {job.origin}: {job.work}")
        if found.after:
            typer.echo(f"more: --after '{found.after}'")
    raise typer.Exit(0 if found.jobs else 1)


@histories.command("car")
def car(
    vin: Annotated[str, typer.Argument(help="VIN, or its last eight")], data: Folder = None, as_json: Json = False
) -> None:
    """A car's jobs side by side: procedures with verdicts, and what its modules said last in each."""
    found = _opened(data).car(vin)
    if as_json:
        _json(found)
        return
    typer.echo(found.vin)
    for whole in found.jobs:
        typer.echo(f"{whole.job.opened[:10]}  {whole.job.number}  {whole.job.work}")
        for run in whole.runs:
            typer.echo(f"    {run.name}: {run.verdict or run.ended or 'not ended'} {run.why}".rstrip())
    for line in found.lines:
        mark = "* " if line.changed else "  "
        typer.echo(f"{mark}{line.module}, {line.name}: {' | '.join(v or '–' for v in line.values)}")


@histories.command("procedure")
def procedure(
    name: Annotated[str, typer.Argument(help="id of the procedure; empty: list them")] = "",
    origin: Origin = "vehicle",
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """How often a procedure fails and why, and how long it takes, with 95 % intervals."""
    history = _opened(data)
    if not name:
        lines = history.procedures()
        if as_json:
            _json(lines)
        for line in () if as_json else lines:
            typer.echo(f"{line.procedure}: {line.name}, {line.origin}, {line.runs} run(s)")
        return
    found = history.procedure(name, origin)
    if as_json:
        _json(found)
        return
    typer.echo(f"{found.procedure}, {found.origin}: {found.runs} run(s) in {found.jobs} job(s)")
    for words, part in (("failed", found.failed), ("cannot tell", found.cannot_tell),
                        ("not completed", found.not_completed), ("retested", found.retested)):  # fmt: skip
        typer.echo(f"  {words}: {_share(part)}")
    for why in found.whys:
        typer.echo(f"    {why.runs} × {why.why}")
    took = found.times
    if took.median_s is not None:
        between = f", 95 % interval {took.low_s:.0f} to {took.high_s:.0f} s" if took.low_s and took.high_s else ""
        typer.echo(f"  takes {took.median_s:.0f} s (median of {took.n}{between})")


@histories.command("chart")
def chart(
    of: Annotated[str, typer.Argument(help="module, or procedure with --judged")],
    key: Annotated[str, typer.Argument(help="learned-lower-stop and the like, or a criterion")],
    judged: Annotated[bool, typer.Option("--judged", help="values of a criterion of a procedure")] = False,
    make: Annotated[str, typer.Option(help="only this make")] = "",
    vin: Annotated[str, typer.Option(help="only this car")] = "",
    origin: Origin = "vehicle",
    out: Annotated[Path | None, typer.Option(help="SVG file to write")] = None,
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """A learned value or a criterion's value over jobs, with its own control limits."""
    history = _opened(data)
    found = (history.chart_judged if judged else history.chart_learned)(of, key, origin, make, vin)
    if out is not None:
        out.write_text(found.svg(), encoding="utf-8")
    if as_json:
        _json(found)
        return
    for n, point in enumerate(found.points):
        typer.echo(
            f"{point.at[:16]}  {point.number}  {point.value:g} {point.unit}{'  outside' if n in found.outside else ''}"
        )
    if found.limits:
        typer.echo(
            f"centre {found.limits.centre:.4g}, control limits {found.limits.low:.4g} to {found.limits.high:.4g}"
        )
    else:
        typer.echo(f"{len(found.points)} value(s): too few for control limits")


@histories.command("out")
def out(
    job: Job,
    target: Annotated[Path, typer.Argument(help="file to write, such as J-1.job.zip")],
    redacted: Annotated[bool, typer.Option("--redacted", help="no personal texts, no report, no documents")] = False,
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """Write a whole job into one file: signed record, documents, report."""
    from asleft.job.history_parcel import job_out  # noqa: PLC0415

    about = job_out(folder_of(data), job, target, redacted=redacted)
    if as_json:
        _json(about)
        return
    typer.echo(f"{target}: head {about.head}, {len(about.documents)} document(s)")
    for name in about.missing:
        typer.echo(f"not in it: document {name}")


@histories.command("in")
def take_in(
    parcel: Annotated[Path, typer.Argument(help="file made by out")], data: Folder = None, as_json: Json = False
) -> None:
    """Check a closed job's file and take it into the data folder; what does not check is refused whole."""
    from asleft.job.history_parcel import job_in  # noqa: PLC0415

    taken = job_in(folder_of(data), parcel)
    if as_json:
        _json(taken._asdict())
        return
    typer.echo(f"{taken.job}: {'taken in' if taken.new else 'was here already'}, head {taken.head}")
    typer.echo(f"signed by {taken.key}: compare with the fingerprint of the workshop it comes from")


@histories.command("invoice")
def invoice(
    jobs: Annotated[list[str], typer.Argument(help="numbers of jobs")],
    out_file: Annotated[Path | None, typer.Option("--out", help="CSV file; else standard output")] = None,
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """Time, procedures and verdicts of jobs as CSV, for the invoice."""
    from asleft.job.history_invoice import invoice_csv  # noqa: PLC0415

    history = _opened(data)
    whole = [history.job(job, history.source) for job in jobs]
    if as_json:
        _json(whole)
    elif out_file is None:
        typer.echo(invoice_csv(whole), nl=False)
    else:
        out_file.write_text(invoice_csv(whole), encoding="utf-8", newline="")


@histories.command("rebuild")
def rebuild(
    changed: Annotated[bool, typer.Option("--changed", help="only what changed since")] = False,
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """Fill the index from the journals, which stay as they are. Broken off, it goes on. Exit code 1: damaged jobs."""
    from asleft.job.history import History  # noqa: PLC0415

    done = History(folder_of(data)).rebuild(anew=not changed)
    if as_json:
        _json(done)
    else:
        typer.echo(f"{done.read} job(s) read, {done.same} as they were, {done.gone} gone")
        for each in done.damaged:
            typer.echo(f"left out: {each.job}: {each.why}")
    raise typer.Exit(1 if done.damaged else 0)


@histories.command("check")
def check(data: Folder = None, as_json: Json = False) -> None:
    """Compare the index with the journals, row by row. Exit code 1: something differs."""
    from asleft.job.history import History  # noqa: PLC0415

    found = History(folder_of(data)).check()
    if as_json:
        _json(found)
    else:
        typer.echo(f"{found.jobs} job(s): {'all as the journals say' if found.whole else 'not as the journals say'}")
        for each in found.differs:
            typer.echo(f"differs: {each.job} {each.what}")
        for each in found.damaged:
            typer.echo(f"damaged: {each.job}: {each.why}")
    raise typer.Exit(0 if found.whole else 1)


def _opened(data: Path | None) -> History:
    """The history, with what is new taken in."""
    from asleft.job.history import History  # noqa: PLC0415

    history = History(folder_of(data))
    done = history.rebuild(anew=False)
    for each in done.damaged:
        typer.echo(f"left out: {each.job}: {each.why}", err=True)
    return history


def _share(part: Share) -> str:
    if part.value is None or part.low is None or part.high is None:
        return "none counted"
    return f"{part.count} of {part.of}: {100 * part.value:.1f} % ({100 * part.low:.1f} to {100 * part.high:.1f} %)"


def _json(value: Any) -> None:
    import msgspec  # noqa: PLC0415

    typer.echo(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())
