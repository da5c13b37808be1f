"""Working an exercise's scene through the real job engine on the real bench car, in virtual time.

A player is a scripted technician or a person at a terminal; virtual time stands still while a person thinks.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.garage import make_car
from asleft.event.envelope import Event
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.engine import read_order, work_job
from asleft.job.keyring import load_key
from asleft.job.papers import write_papers
from asleft.link.bus_link import BusLink
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.question import Question
from asleft.record.journal import open_journal
from asleft.talk.policy import WritesPolicy

from . import hands
from .driver import CarActs, LocalActs
from .exercise import ActLine, Deed, Exercise, Mistake
from .hands import BEGIN, ENDED, WAY_WORDS, Do, SceneHands, ScenePerson, Script
from .scenes import Scene, scene_of
from .scoring import Grading

#: Players that every exercise has: name -> what they do.
IDEAL = "ideal"
_SLOW_S = 3600.0
_GONE_INTO = {"conditions": 15.0, "execution": 15.0, "judgement": 15.0}
_COMMON = (
    Mistake(
        "picture-missed",
        "the work is begun before the picture as received",
        Deed(answers={"the picture of the car as received": ("not taken: the work has begun",)}),
        {"pictures": 10.0},
    ),
    Mistake("slow", "an hour is lost on the way", Deed(wait_s=_SLOW_S), {"time": 5.0}),
    Mistake(
        "left-at-once",
        "it is left open before anything was looked at",
        Deed(answers={"Read before you begin": ("stop here",)}),
        _GONE_INTO,
    ),
    Mistake(
        "tried-twice",
        "it is stopped at the cautions and begun once more",
        Deed(
            answers={"Read before you begin": ("stop here", "read and followed"), ENDED: ("try again", "leave it open")}
        ),
        {"execution": 5.0},
    ),
    Mistake(
        "walked-away",
        "the job is left lying once the work is done",
        Deed(answers={"the picture as found is taken": ("stop here",)}),
        {**_GONE_INTO, "pictures": 10.0, "screening": 10.0, "order": 10.0, "record": 10.0, "time": 5.0},
    ),
)


def mistakes_of(exercise: Exercise) -> dict[str, Mistake]:
    """Mistakes that can be played in an exercise, by name: the common ones and its own; its own word counts."""
    return {m.id: m for m in (*_COMMON, *exercise.mistakes)}


@dataclass(frozen=True)
class Worked:
    """What working an exercise left: its events, the truth, the head of its record, minutes at the car."""

    exercise: Exercise
    events: tuple[Event, ...]
    truth: Grading
    head: str


#: Says what is answered, or None to leave it to the scene; the second does an act at the car at once.
Chooses = Callable[[Question, Callable[..., Any]], str | None]


def hidden_sizes(exercise: Exercise, seed: int) -> dict[str, float]:
    """Sizes of the hidden faults of a variant; 0 where a fault has no size."""
    chance = random.Random(f"{exercise.id}/{seed}")  # noqa: S311 - variants, no secret
    return {
        h.fault: round(chance.uniform(h.low, h.high if h.high is not None else h.low), 3) if h.low is not None else 0.0
        for h in exercise.hidden
    }


def work(
    exercise: Exercise,
    folder: Path,
    *,
    seed: int = 1,
    player: str = IDEAL,
    out: Path | None = None,
    chooses: Chooses | None = None,
    level: str = "exam",
) -> Worked:
    """Work an exercise to its end.

    Args: folder: data folder. player: ``ideal`` or a mistake's name; not looked at with ``chooses``. out: for papers.
    Raises: InputError: no such player or scene. AsleftError: the job stopped; its record is kept.
    """
    mistakes = mistakes_of(exercise)
    if player != IDEAL and player not in mistakes:
        raise InputError(Code.ACT_UNKNOWN, f"no player {player!r}; there are {', '.join((IDEAL, *mistakes))}")
    deeds = (exercise.right,) if player == IDEAL else (mistakes[player].deed, exercise.right)
    if chooses is not None:
        deeds = ()
    task = _Task(exercise, scene_of(exercise), hidden_sizes(exercise, seed), seed, deeds, level)
    return run_virtual(lambda clock: _work(task, folder, out, chooses, clock))


@dataclass(frozen=True)
class _Task:
    exercise: Exercise
    scene: Scene
    sizes: Mapping[str, float]
    seed: int
    deeds: tuple[Deed, ...]
    level: str


async def _work(task: _Task, folder: Path, out: Path | None, chooses: Chooses | None, clock: LoopClock) -> Worked:
    exercise, scene, seed = task.exercise, task.scene, task.seed
    bus = InLoopBus(clock)
    car = make_car(scene.play.car, seed, {**scene.play.options, **exercise.options})
    assert isinstance(car, CarBase)
    car.attach(bus, clock)
    try:
        script = script_for(exercise, scene, task.sizes, task.deeds)
        acts = LocalActs(car)
        does = SceneHands(script, acts, clock)
        await does.do(BEGIN)
        person = ScenePerson(script, does, clock, on_car(chooses, car))
        link = BusLink(bus, clock)
        desk = scene.desk(link, clock, person)
        with open_journal(folder, key=load_key(folder)) as journals:
            number = f"practice-{exercise.id}-{seed:04d}"
            journal = journals.create(number, source=link, clock=clock)
            try:
                await work_job(
                    desk,
                    journal,
                    read_order(ticket(exercise, scene, str(getattr(car, "vin", ""))), number),
                    WritesPolicy(),
                )
            except AsleftError as error:
                if error.code is not Code.STOPPED_BY_PERSON:
                    raise
            head = write_papers(folder, journal, out) if out is not None else ""
            events = journal.events()
        readings = await readings_of(exercise, acts)
    finally:
        car.detach()
    return Worked(exercise, events, Grading(exercise.id, seed, task.level, dict(task.sizes), readings), head)


def on_car(chooses: Chooses | None, car: CarBase) -> hands.Chooses | None:
    """A person at a terminal, with the car's acts in hand."""
    if chooses is None:
        return None

    async def asked(question: Question) -> str | None:
        return chooses(question, car.act)

    return asked


def script_for(exercise: Exercise, scene: Scene, sizes: Mapping[str, float], deeds: tuple[Deed, ...] = ()) -> Script:
    """How an exercise is played: faults hidden after their acts, then what the player does and answers.

    A mistake's acts stand in place of the right ones.
    """
    after: dict[str, tuple[Do, ...]] = {}
    for h in exercise.hidden:
        args = {"name": h.fault} if h.low is None else {"name": h.fault, "size": sizes[h.fault]}
        after[h.after] = (*after.get(h.after, ()), Do("fault", 2.0, args))
        if h.gone:
            after[h.gone] = (*after.get(h.gone, ()), Do("mend", 0.0, {"name": h.fault}))
    after[BEGIN] = (*after.get(BEGIN, ()), *_lines(exercise.before_us))
    done: set[str] = set()
    for deed in deeds:
        for act, lines in deed.after.items():
            if act not in done:
                done.add(act)
                after[act] = (*after.get(act, ()), *_lines(lines))
    play = scene.play
    own = tuple(one for deed in deeds for one in deed.answers.items())
    given = (*own, *play.answers.items(), ("how is it done", (WAY_WORDS[play.way],)))
    doing = {part: _lines(lines) for deed in reversed(deeds) for part, lines in deed.doing.items()}
    return Script(play.acts, play.meanwhile, after, True, given, doing, sum(d.wait_s for d in deeds))


def _lines(lines: tuple[ActLine, ...]) -> tuple[Do, ...]:
    return tuple(Do(one.act, one.after_s, one.args) for one in lines)


async def readings_of(exercise: Exercise, car: CarActs) -> dict[str, float]:
    """What the instruments show now that a person's answers are held against: ``act.pick`` -> value."""
    return {f"{h.act}.{h.pick}": float((await car.act(h.act))[h.pick]) for h in exercise.honest if h.act}


def ticket(exercise: Exercise, scene: Scene, vin: str) -> dict[str, Any]:
    """The repair order of an exercise."""
    play = scene.play
    return {
        "vin": vin,
        "make": play.make,
        "model": play.model,
        "year": play.year,
        "work_items": [play.work],
        "order": f"practice: {exercise.title}",
    }


def write_truth(truth: Grading, path: Path) -> None:
    """Keep the truth beside the record, never in it."""
    path.write_bytes(msgspec.json.format(msgspec.json.encode(truth), indent=2))


def read_truth(path: Path) -> Grading:
    """The truth of a worked exercise. Raises InputError: missing or not one."""
    try:
        return msgspec.json.decode(path.read_bytes(), type=Grading)
    except (OSError, msgspec.DecodeError) as error:
        raise InputError(Code.PROCEDURE_MISSING, f"no truth beside the record: {error}", str(path)) from error
