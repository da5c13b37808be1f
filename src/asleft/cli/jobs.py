"""``asleft job``: jobs from the command line and from scripts: what the page does, through the same engine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .key import Folder

if TYPE_CHECKING:
    from asleft.event.fold import JobState
    from asleft.job.moving import Tried
    from asleft.job.shop import Shop

jobs = typer.Typer(no_args_is_help=True, help="Jobs: open, answer, follow, stop, hand over, another order.")

Job = Annotated[str, typer.Argument(help="number of the job")]
By = Annotated[str, typer.Option(help="who does it, as it shall stand on the record")]
Json = Annotated[bool, typer.Option("--json", help="as JSON")]
Device = Annotated[str, typer.Option(help="what this device is called; control belongs to a person on a device")]
HERE = "command line"


@jobs.command("list")
def listing(data: Folder = None, as_json: Json = False) -> None:
    """All jobs of the data folder, oldest first, and what each waits for."""
    shop = _shop(data)
    found = [_summary(number, shop.state(number)) for number in shop.jobs()]
    if as_json:
        _print(found)
        return
    for line in found:
        typer.echo(f"{line['job']}  {line['car']}  {line['state']}: {line['waits']}".rstrip(": "))


@jobs.command("show")
def show(job: Job, data: Folder = None, as_json: Json = False) -> None:
    """One job as it stands: what is asked with its choices, plan, procedures with their verdicts, who has control."""
    shop = _shop(data)
    told = _whole(job, shop.state(job))
    if as_json:
        _print(told)
        return
    for name, value in told.items():
        for line in value.splitlines() if isinstance(value, str) else value:
            typer.echo(f"{name}: {line}")


@jobs.command("open")
def open_job(
    vin: Annotated[str, typer.Argument(help="VIN, from the body plate")],
    work: Annotated[list[str], typer.Argument(help="work done: id or words, each in quotes")],
    make: Annotated[str, typer.Option(help="make of the car")] = "",
    model: Annotated[str, typer.Option(help="model")] = "",
    year: Annotated[int | None, typer.Option(help="model year")] = None,
    order: Annotated[str, typer.Option(help="what the customer says, or your order")] = "",
    data: Folder = None,
) -> None:
    """Open a job; prints its number. The engine begins it at once: asleft job show says what it asks."""
    typer.echo(_shop(data).open_job(vin, work, make=make, model=model, year=year, order=order))


@jobs.command("answer")
def answer(
    job: Job,
    text: Annotated[str, typer.Argument(help="one of the choices, or what was to be typed")],
    by: By,
    question: Annotated[str, typer.Option(help="its id, so that no other one is answered; else the open one")] = "",
    device: Device = HERE,
    data: Folder = None,
) -> None:
    """Answer what a job asks. Whoever confirms an effect first has control from then on."""
    _shop(data, device).answer(job, text, by, question)


@jobs.command("follow")
def follow(
    job: Job,
    after: Annotated[int, typer.Option(min=0, help="sequence of the last event you have")] = 0,
    quiet: Annotated[float, typer.Option(help="end when nothing came for so long, s")] = 3600.0,
    data: Folder = None,
    as_json: Annotated[bool, typer.Option("--json", help="each event as a line of JSON, as it is stored")] = False,
) -> None:
    """Events as they come, until the job is closed or stops."""
    from asleft.event.envelope import stored_bytes, type_of  # noqa: PLC0415

    for event in _shop(data).follow(job, quiet, after):
        line = stored_bytes(event).decode() if as_json else f"{event.sequence} {event.wall} {type_of(event.body)}"
        typer.echo(line if as_json else f"{line} {_words_of(event.body)}".rstrip())


@jobs.command("stop")
def stop(job: Job, data: Folder = None) -> None:
    """Say stop; anybody may. What moves is ended, modules go back to their default session. It is no safety switch."""
    _shop(data).stop(job)


@jobs.command("pause")
def pause(job: Job, data: Folder = None) -> None:
    """Pause the run in hand before its next step; its question then goes on with it."""
    _shop(data).pause(job)


@jobs.command("go-on")
def go_on(job: Job, data: Folder = None) -> None:
    """Take a stopped job up again where it stands; nothing is sent again by itself."""
    _shop(data).go_on(job)


@jobs.command("take-control")
def take_control(
    job: Job,
    by: By,
    reason: Annotated[str, typer.Option(help="why, where somebody else has control")] = "",
    device: Device = HERE,
    data: Folder = None,
) -> None:
    """Take control of the car: only who has it confirms effects."""
    _shop(data, device).take_control(job, by, reason)


@jobs.command("hand-over")
def hand_over(
    job: Job,
    by: By,
    to: Annotated[str, typer.Option(help="who gets it; empty: nobody has it any more")] = "",
    to_device: Annotated[str, typer.Option(help="on which device; else this one")] = "",
    device: Device = HERE,
    data: Folder = None,
) -> None:
    """Give control of the car to somebody, or up."""
    _shop(data, device).hand_over(job, by, to, to_device)


@jobs.command("order")
def order(
    job: Job,
    names: Annotated[
        list[str] | None, typer.Argument(help="functions in the order wanted; those not named follow as planned")
    ] = None,
    reason: Annotated[str, typer.Option(help="why; with it the order is taken, without it only tried")] = "",
    by: Annotated[str, typer.Option(help="who chooses it")] = "",
    device: Device = HERE,
    data: Folder = None,
    as_json: Json = False,
) -> None:
    """What another order of the plan costs or breaks; with --reason and --by it is taken. Exit code 1: not workable."""
    shop = _shop(data, device)
    whole = _filled(shop.state(job), names or ())
    tried = shop.try_order(job, whole)
    if reason:
        shop.choose_order(job, whole, by, reason)
    if as_json:
        _print(tried)
    else:
        _order_lines(tried)
    raise typer.Exit(0 if tried.allowed else 1)


# -- helpers -----------------------------------------------------------------------------------------------------------


def _shop(data: Path | None, device: str = HERE) -> Shop:
    from asleft.job.shop import Shop  # noqa: PLC0415

    return Shop(data, device)


def _filled(state: JobState, names: list[str] | tuple[str, ...]) -> tuple[str, ...]:
    """The names, then what of the plan was not named; what has begun stays in front."""
    from asleft.job.course import Course, begun_in  # noqa: PLC0415

    plan = tuple(step.function for step in state.plan.steps) if state.plan else ()
    first = (*begun_in(state, Course()), *names)
    return tuple(dict.fromkeys((*first, *plan))) if names else plan


def _order_lines(tried: Tried) -> None:
    for place, name in enumerate(tried.order, 1):
        typer.echo(f"{place}. {tried.words[name]} [{name}]")
    for conflict in tried.conflicts:
        head = "not possible" if conflict.hard else "costs rework"
        typer.echo(f"{head}: {conflict.before_words} must come before {conflict.after_words}: {conflict.why}")
    if tried.active_min is None or tried.elapsed_min is None:
        typer.echo("a car state cannot be reached any more")
    else:
        best = " (the best order)" if tried.best else ""
        typer.echo(f"{tried.active_min:+g} min work, {tried.elapsed_min:+g} min on the clock{best}")


def _summary(job: str, state: JobState) -> dict[str, str]:
    car = state.vehicle
    words = "closed" if state.closed else "stopped" if state.stopped else "open"
    asked = state.waiting_for if words == "open" else None
    text = state.closed.statement.text if state.closed else state.stopped.message.text if state.stopped else ""
    return {
        "job": job,
        "car": f"{car.make} {car.model} {car.vin.text}".strip() if car else "",
        "origin": state.origin.value,
        "state": words,
        "waits": asked.message.text if asked else text,
    }


def _whole(job: str, state: JobState) -> dict[str, str | list[str]]:
    asked = state.waiting_for if state.closed is None and state.stopped is None else None
    runs = [
        f"{r.started.name}: {(r.verdict.value if r.verdict else r.end.value if r.end else r.progress) or 'begun'}"
        for r in state.runs.values()
    ]
    return {
        **_summary(job, state),
        "question": asked.id if asked else "",
        "kind": asked.kind.value if asked else "",
        "choices": list(asked.choices) if asked else [],
        "cautions": [caution.text for caution in asked.cautions] if asked else [],
        "control": state.holder.text if state.holder.by else "",
        "plan": [f"{step.name} [{step.function}]" for step in state.plan.steps] if state.plan else [],
        "procedures": runs,
        "open": [message.text for message in state.open_items.values()],
        "events": str(state.sequence),
    }


def _words_of(body: object) -> str:
    message = getattr(body, "message", None) or getattr(getattr(body, "question", None), "message", None)
    return str(getattr(message, "text", ""))


def _print(value: object) -> None:
    import msgspec  # noqa: PLC0415

    typer.echo(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())
