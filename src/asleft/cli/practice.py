"""``asleft practice``: exercises on bench cars, scored from the record, debriefed with the truth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from asleft.model.question import Question
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
    level: Annotated[str, typer.Option(help="follow (hints) or exam (none)")] = "follow",
    as_json: Json = False,
) -> None:
    """Work an exercise in virtual time and score it. Exit code 1: not passed."""
    import tempfile  # noqa: PLC0415

    from asleft.practice.exercise import load_exercise  # noqa: PLC0415
    from asleft.practice.players import IDEAL, work, write_truth  # noqa: PLC0415
    from asleft.practice.scoring import score  # noqa: PLC0415

    if level not in ("follow", "exam"):
        raise typer.BadParameter("follow or exam", param_hint="--level")
    exercise = load_exercise(name)
    hints = exercise.hints if level == "follow" else {}
    chooses = None if unattended else _terminal(hints)
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


def _terminal(hints: dict[str, str]) -> Callable[[Question, Callable[..., Any]], str | None]:
    """A person at this terminal: a number chooses, other text is typed in; ``!charger on=true`` acts at the car."""

    def choose(question: Question, act: Callable[..., Any]) -> str | None:
        from asleft.model.errors import InputError  # noqa: PLC0415

        for caution in question.cautions:
            typer.echo(f"! {caution.text}")
        typer.echo(f"\n{question.message.text}")
        for hint in (words for part, words in hints.items() if part in question.message.text):
            typer.echo(f"  hint: {hint}")
        typed = question.kind.value == "type"  # a number is the value then, not a choice
        for number, choice in enumerate(question.choices, start=1):
            typer.echo(f"  or type: {choice}" if typed else f"  {number} {choice}")
        while True:
            text = typer.prompt("answer") if typed else typer.prompt("answer", default="1")
            if not text.startswith("!"):
                break
            name, *given = text[1:].split()
            try:
                seen = act(name, **{k: _value(v) for k, _, v in (one.partition("=") for one in given)})
                typer.echo(f"  {seen if seen is not None else 'done'}")
            except InputError as error:
                typer.echo(f"  {error.sentence()}")
        chosen = text.isdigit() and 1 <= int(text) <= len(question.choices)
        return question.choices[int(text) - 1] if chosen and not typed else text

    return choose


def _value(text: str) -> bool | float | str:
    if text in ("true", "false"):
        return text == "true"
    try:
        return float(text)
    except ValueError:
        return text
