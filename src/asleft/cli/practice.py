"""``asleft practice``: exercises on bench cars, scored from the record, debriefed with the truth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from asleft.model.question import Question
    from asleft.practice.exercise import Exercise
    from asleft.practice.levels import Level
    from asleft.practice.scoring import Sheet

practice = typer.Typer(no_args_is_help=True, help="Exercises on bench cars: list, run, score, debrief, check.")

Record = Annotated[Path, typer.Argument(help="record.zip of a worked exercise; truth.json stands beside it")]
Json = Annotated[bool, typer.Option("--json", help="for programs")]


@practice.command("list")
def listing(as_json: Json = False) -> None:
    """List the exercises and the players of each."""
    from asleft.practice.exercise import load_exercise, names  # noqa: PLC0415
    from asleft.practice.players import mistakes_of  # noqa: PLC0415

    found = [load_exercise(name) for name in names()]
    if as_json:
        _json([{"id": e.id, "title": e.title, "players": ["ideal", *mistakes_of(e)]} for e in found])
        return
    for one in found:
        typer.echo(f"{one.id}: {one.title} (players: ideal, {', '.join(mistakes_of(one))})")


@practice.command("run")
def run(
    name: Annotated[str, typer.Argument(help="an exercise's name, or the path of its file")],
    unattended: Annotated[str, typer.Option(help="scripted player, such as ideal; empty: you, at this terminal")] = "",
    out: Annotated[Path, typer.Option(help="folder for record, report and truth")] = Path("out"),
    seed: Annotated[int, typer.Option(help="which variant")] = 1,
    level: Annotated[str, typer.Option(help="hints: follow, ask (type ?), one, exam (none)")] = "follow",
    as_json: Json = False,
) -> None:
    """Work an exercise in virtual time and score it. Exit code 1: not passed."""
    import tempfile  # noqa: PLC0415

    from asleft.practice.exercise import load_exercise  # noqa: PLC0415
    from asleft.practice.levels import read_level  # noqa: PLC0415
    from asleft.practice.players import IDEAL, work, write_truth  # noqa: PLC0415
    from asleft.practice.scoring import score  # noqa: PLC0415

    wanted = read_level(level)
    exercise = load_exercise(name)
    chooses = None if unattended else _terminal(exercise, wanted)
    out.mkdir(parents=True, exist_ok=True)
    typer.echo(exercise.story, err=True)
    with tempfile.TemporaryDirectory(prefix="asleft-practice-") as data:
        worked = work(
            exercise, Path(data), seed=seed, player=unattended or IDEAL, out=out, chooses=chooses, level=level
        )  # fmt: skip
    write_truth(worked.truth, out / "truth.json")
    _show(score(exercise, worked.events, worked.truth), as_json)


@practice.command("score")
def scoring(
    record: Record,
    exercise: Annotated[str, typer.Option(help="file of the exercise, where it is not one of the program's")] = "",
    as_json: Json = False,
) -> None:
    """Score a record again, from its events and the truth beside it. Exit code 1: not passed."""
    from asleft.practice.debrief import read_record  # noqa: PLC0415
    from asleft.practice.exercise import load_exercise  # noqa: PLC0415
    from asleft.practice.players import read_truth  # noqa: PLC0415
    from asleft.practice.scoring import score  # noqa: PLC0415

    truth = read_truth(record.with_name("truth.json"))
    _show(score(load_exercise(exercise or truth.exercise), read_record(record), truth), as_json)


@practice.command("debrief")
def debrief(
    record: Record,
    out: Annotated[Path, typer.Option(help="HTML file to write")] = Path("debrief.html"),
    exercise: Annotated[str, typer.Option(help="file of the exercise, where it is not one of the program's")] = "",
) -> None:
    """Write the debrief: sheet, strips with the truth, best order beside what was done, comments."""
    from asleft.practice.debrief import debrief_page, read_comments, read_record  # noqa: PLC0415
    from asleft.practice.exercise import load_exercise  # noqa: PLC0415
    from asleft.practice.players import read_truth  # noqa: PLC0415
    from asleft.practice.scoring import score  # noqa: PLC0415

    truth = read_truth(record.with_name("truth.json"))
    events, one = read_record(record), load_exercise(exercise or truth.exercise)
    page = debrief_page(one, events, truth, score(one, events, truth), read_comments(record))
    out.write_text(page, encoding="utf-8")
    typer.echo(f"{out}")


@practice.command("comment")
def comment(
    record: Record,
    event: Annotated[int, typer.Argument(help="sequence of the event")],
    text: Annotated[str, typer.Argument(help="the remark")],
    by: Annotated[str, typer.Option(help="who says it")],
) -> None:
    """Add a trainer's remark in a file beside the record, never in it."""
    from asleft.practice.debrief import add_comment, comments_path  # noqa: PLC0415
    from asleft.practice.remarks import Comment  # noqa: PLC0415

    add_comment(record, Comment(event, by, text))
    typer.echo(f"{comments_path(record)}")


@practice.command("from-record")
def from_record(
    record: Record,
    name: Annotated[str, typer.Option(help="the new exercise's id")],
    title: Annotated[str, typer.Option(help="its title")],
    out: Annotated[Path, typer.Option(help="file to write")],
    exercise: Annotated[str, typer.Option(help="file of the exercise, where it is not one of the program's")] = "",
) -> None:
    """Make an exercise of what was worked: its end, answers and time are right now; its faults have fixed sizes."""
    from asleft.practice.debrief import read_record  # noqa: PLC0415
    from asleft.practice.exercise import load_exercise  # noqa: PLC0415
    from asleft.practice.players import read_truth  # noqa: PLC0415
    from asleft.practice.recorded import as_text, exercise_from  # noqa: PLC0415

    truth = read_truth(record.with_name("truth.json"))
    made = exercise_from(load_exercise(exercise or truth.exercise), read_record(record), truth, name, title)
    out.write_text(as_text(made), encoding="utf-8")
    typer.echo(f"{out}: {made.goal.value}, {made.par_min:g} min")


@practice.command("serve")
def serve(
    data: Annotated[Path | None, typer.Option("--data", help="practice folder; else one beside the workshop's")] = None,
    port: Annotated[int, typer.Option(help="port of the page")] = 8621,
) -> None:
    """Open the practice page on a data folder of its own; exercises start from it."""
    import asyncio  # noqa: PLC0415
    import sys  # noqa: PLC0415

    from asleft.job.processes import running, stop_signs, until  # noqa: PLC0415
    from asleft.job.settings import data_folder  # noqa: PLC0415

    folder = data or data_folder() / "practice-room"
    folder.mkdir(parents=True, exist_ok=True)

    async def work() -> None:
        stop = stop_signs()
        async with running([sys.executable, "-m", "asleft.web", "--folder", str(folder), "--port", str(port)]) as page:
            await page.line()
            typer.echo(f"practice: http://127.0.0.1:{port}/practice/\nCtrl-C ends it.")
            await until(stop, page)

    asyncio.run(work())


@practice.command("check")
def check(file: Annotated[Path, typer.Argument(help="exercise file")]) -> None:
    """Read an exercise file; what is wrong in it is said with file, line and field. Exit code 2: it cannot be used."""
    from asleft.practice.exercise import read_exercise  # noqa: PLC0415

    one = read_exercise(file)
    typer.echo(f"{one.id}: {one.title}")


def _show(sheet: Sheet, as_json: bool) -> None:
    if as_json:
        import msgspec  # noqa: PLC0415

        _json(msgspec.to_builtins(sheet))
    else:
        for line in sheet.lines:
            typer.echo(f"  {line.item.value:<11}{line.points:>4g} of {line.of:g}  {'; '.join(line.why)}".rstrip())
        for why in sheet.unsafe:
            typer.echo(f"  safety gate closed: {why}")
        typer.echo(f"{sheet.total:g} of 100, {'passed' if sheet.passed else 'not passed'}")
    raise typer.Exit(0 if sheet.passed else 1)


def _json(value: object) -> None:
    import json  # noqa: PLC0415

    typer.echo(json.dumps(value, indent=2))


def _terminal(exercise: Exercise, level: Level) -> Callable[[Question, Callable[..., Any]], str | None]:
    """A person at this terminal: a number chooses, other text is typed in; ``!charger on=true`` acts at the car."""
    from asleft.practice.levels import hint_for, may_ask  # noqa: PLC0415

    asked: list[str] = []

    def hint(text: str) -> None:
        if words := hint_for(exercise, level, text, tuple(asked)):
            typer.echo(f"  hint: {words}")

    def choose(question: Question, act: Callable[..., Any]) -> str | None:
        text = question.message.text
        for caution in question.cautions:
            typer.echo(f"! {caution.text}")
        typer.echo(f"\n{text}")
        hint(text)
        typed = question.kind.value == "type"  # a number is the value then, not a choice
        for number, choice in enumerate(question.choices, start=1):
            typer.echo(f"  or type: {choice}" if typed else f"  {number} {choice}")
        if may_ask(exercise, level, text, tuple(asked)):
            typer.echo("  or ?: a hint")
        while True:
            said = str(typer.prompt("answer") if typed else typer.prompt("answer", default="1"))
            if said == "?" and may_ask(exercise, level, text, tuple(asked)):
                asked.append(text)
                hint(text)
            elif said.startswith("!"):
                _act(said, act)
            else:
                break
        chosen = said.isdigit() and 1 <= int(said) <= len(question.choices)
        return question.choices[int(said) - 1] if chosen and not typed else said

    return choose


def _act(said: str, act: Callable[..., Any]) -> None:
    """An act at the car, as typed."""
    from asleft.model.errors import InputError  # noqa: PLC0415

    name, *given = said[1:].split()
    try:
        seen = act(name, **{k: _value(v) for k, _, v in (one.partition("=") for one in given)})
        typer.echo(f"  {seen if seen is not None else 'done'}")
    except InputError as error:
        typer.echo(f"  {error.sentence()}")


def _value(text: str) -> bool | float | str:
    if text in ("true", "false"):
        return text == "true"
    try:
        return float(text)
    except ValueError:
        return text
