"""``asleft demo``: the main job on a bench car, live in the browser or unattended in seconds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    unattended: Annotated[bool, typer.Option("--unattended", help="the whole job in virtual time, no browser")] = False,
    out: Annotated[Path, typer.Option(help="folder for record.zip, report.pdf and key.pem (unattended)")] = Path("out"),
    seed: Annotated[int, typer.Option(help="which car of its kind")] = 1,
    uncleaned: Annotated[bool, typer.Option("--uncleaned", help="the bore was not cleaned, whatever is said")] = False,
    identifier: Annotated[str, typer.Option(help="type this routine identifier instead of choosing (unattended)")] = "",
    procedure: Annotated[str, typer.Option(help="play this procedure of the demo book (unattended)")] = "",
    fail: Annotated[str, typer.Option(help="play it so that it does not pass: the name of how (unattended)")] = "",
    way: Annotated[str, typer.Option(help="play it another way: by-wire, beside, by-hand (unattended)")] = "",
    plays: Annotated[
        bool, typer.Option("--plays", help="list the procedures of the demo book and how they fail")
    ] = False,
    port: Annotated[int, typer.Option(help="port of the page on the loopback address; 0: a free one")] = 0,
) -> None:
    """Run the main job on a bench car. Exit code 1 when the unattended job's proof is not PASS."""
    if plays:
        _plays()
    elif unattended and procedure:
        _play(procedure, fail, way, seed, out)
    elif unattended:
        _unattended(out, seed, uncleaned, identifier)
    else:
        _live(seed, uncleaned, port)


def _unattended(out: Path, seed: int, uncleaned: bool, identifier: str) -> None:
    from asleft.practice.unattended import run_unattended  # noqa: PLC0415

    result = run_unattended(out, seed=seed, cleaned=0.0 if uncleaned else 1.0, identifier=identifier)
    typer.echo(
        f"job {result.state.number}, origin {result.state.origin.value}, {result.virtual_s / 60:.0f} min at the car"
    )
    for function, verdict in result.verdicts.items():
        typer.echo(f"  {function}: {verdict.value.replace('_', ' ')}")
    for item in result.state.open_items.values():
        typer.echo(f"  open: {item.text}")
    typer.echo(f"head {result.head}")
    for name in ("record.zip", "report.pdf", "key.pem"):
        typer.echo(f"  {out / name}")
    raise typer.Exit(0 if result.passed else 1)


def _live(seed: int, uncleaned: bool, port: int) -> None:
    import asyncio  # noqa: PLC0415
    import sys  # noqa: PLC0415

    from asleft.practice.demo import LiveDemo  # noqa: PLC0415

    def page(folder: Path, port: int) -> list[str]:
        return [sys.executable, "-m", "asleft.web", "--folder", str(folder), "--port", str(port)]

    asyncio.run(LiveDemo(seed=seed, cleaned=0.0 if uncleaned else 1.0, port=port, page=page).run(typer.echo))


def _plays() -> None:
    from asleft.practice.demo_book_all import PLAYS  # noqa: PLC0415

    for name, play in PLAYS.items():
        ways = ", ".join(w.value for w in (play.way, *play.more_ways))
        typer.echo(f"{name} (bench car {play.car}, {ways})")
        for how, failing in play.fails.items():
            typer.echo(f"  --fail {how}: {failing.why}")


def _play(procedure: str, fail: str, way: str, seed: int, out: Path) -> None:
    from asleft.practice.demo_book_all import play_procedure  # noqa: PLC0415

    played = play_procedure(procedure, out, fail=fail, way=way, seed=seed)
    state, run = played.state, played.run
    typer.echo(f"job {state.number}, origin {state.origin.value}, {played.virtual_s / 60:.0f} min at the car")
    typer.echo(f"  {played.function}: {played.verdict.value.replace('_', ' ')}")
    for judgement in run.judgements if run else ():
        typer.echo(f"    {judgement.sentence.text if judgement.sentence else judgement.name}")
    if run is not None and run.result is not None:
        typer.echo(f"  {run.result.text}")
    for item in state.open_items.values():
        typer.echo(f"  open: {item.text}")
    typer.echo(f"head {played.head}")
    raise typer.Exit(0 if played.passed else 1)
