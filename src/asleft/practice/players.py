"""Working an exercise's scene through the real job engine on the real bench car, in virtual time.

A player is a scripted technician or a person at a terminal; virtual time stands still while a person thinks.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.garage import make_car
from asleft.book.procedure import Way
from asleft.event.envelope import Event
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.job.keyring import load_key
from asleft.job.papers import write_papers
from asleft.link.bus_link import BusLink
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.question import Answer, Question
from asleft.record.journal import open_journal
from asleft.talk.policy import WritesPolicy

from .demo_book import Play, Sees, book_for
from .driver import BenchDriver, LocalActs
from .exercise import ActLine, Deed, Exercise, Mistake
from .person import ScriptedPerson
from .scene import TECHNICIAN, WORKSHOP
from .scenes import SCENES
from .scoring import Grading

_WAYS = {Way.BY_WIRE: "by wire, from here", Way.BESIDE: "beside another tester", Way.BY_HAND: "by hand, coached"}
#: More questions than this, and a player goes round in circles.
_MOST = 150
#: Part of the question whether an ended run is tried again.
_ENDED = "ended after"
#: Players that every exercise has: name -> what they do.
IDEAL = "ideal"
_SLOW_S = 3600.0
_COMMON = (
    Mistake(
        "picture-missed",
        "the work is begun before the picture as received",
        Deed(answers={"the picture of the car as received": ("not taken: the work has begun",)}),
        {"pictures": 10.0},
    ),
    Mistake("slow", "an hour is lost on the way", Deed(wait_s=_SLOW_S), {"time": 5.0}),
)


def mistakes_of(exercise: Exercise) -> dict[str, Mistake]:
    """Mistakes that can be played in an exercise, by name: the common ones and its own."""
    return {m.id: m for m in (*_COMMON, *exercise.mistakes)}


@dataclass(frozen=True)
class Worked:
    """What working an exercise left: its events, the truth, the head of its record, minutes at the car."""

    exercise: Exercise
    events: tuple[Event, ...]
    truth: Grading
    head: str


class Chooses(Protocol):
    """Says what is answered, or None to leave it to the scene; ``act`` does an act at the car at once."""

    def __call__(self, question: Question, act: Callable[..., Any], /) -> str | None:
        """Answer one question."""
        ...


class _Hands:
    def __init__(self, scene: Play, after: Mapping[str, tuple[ActLine, ...]], car: CarBase, clock: LoopClock) -> None:
        self._scene, self._after, self._clock = scene, after, clock
        self._car = LocalActs(car)
        self.driver = BenchDriver(self._car, clock)
        self._done: set[str] = set()

    async def do(self, act: str) -> None:
        """Do what a question asks for, then what the exercise hides or the player does after its first time."""
        if not act:
            return
        scene = self._scene
        if act in scene.meanwhile:
            self.driver.meanwhile(self._all(tuple((d.act, d.after_s, d.args) for d in scene.meanwhile[act])))
        elif act in scene.acts:
            await self._all(tuple((d.act, d.after_s, d.args) for d in scene.acts[act]))
        else:
            await self.driver.do(act)
        if act not in self._done:
            self._done.add(act)
            await self._all(tuple((line.act, line.after_s, line.args) for line in self._after.get(act, ())))

    async def _all(self, acts: tuple[tuple[str, float, Mapping[str, Any]], ...]) -> None:
        for name, after_s, args in acts:
            if after_s:
                await self._clock.sleep_until(self._clock.now() + after_s)
            if name != "wait":
                await self._car.act(name, **args)


class _Player(ScriptedPerson):
    """Answers by the person at the terminal, the player's deed, the right deed, the scene: in this order."""

    def __init__(
        self,
        scene: Play,
        deeds: tuple[Deed, ...],
        hands: _Hands,
        car: CarBase,
        clock: LoopClock,
        chooses: Chooses | None,
    ) -> None:
        super().__init__(hands.driver, clock, TECHNICIAN)
        self._hands, self._bench, self._time, self._chooses = hands, car, clock, chooses
        self._wait_s = sum(d.wait_s for d in deeds)
        own = [(part, list[str | Sees](said)) for d in deeds for part, said in d.answers.items()]
        given = [(part, list[str | Sees](said)) for part, said in scene.answers.items()]
        said = [*own, *given, (_ENDED, ["leave it open"]), ("how is it done", [_WAYS[scene.way]])]
        self._said = sorted(said, key=lambda one: one[0] != _ENDED)  # its text quotes the one that stopped

    async def answer(self, question: Question) -> Answer:
        """Think, do, look, answer."""
        self.asked.append(question)
        if len(self.asked) > _MOST:
            raise InputError(Code.ACT_UNKNOWN, f"the player goes round in circles at: {question.message.text}")
        await self._time.sleep_until(self._time.now() + 2.0 + self._wait_s)
        self._wait_s = 0.0
        if self._chooses is not None and (text := self._chooses(question, self._bench.act)) is not None:
            await self._hands.do(question.act)
            return Answer(question.id, text, TECHNICIAN)
        await self._hands.do(question.act)
        return Answer(question.id, self._scripted(question), TECHNICIAN)

    def _scripted(self, question: Question) -> str:
        for part, said in self._said:
            if part in question.message.text and said:
                one = said.pop(0) if len(said) > 1 else said[0]
                return one.answer(self._bench) if isinstance(one, Sees) else one
        return self._choose(question)


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
    if exercise.scene not in SCENES:
        raise InputError(Code.ACT_UNKNOWN, f"no scene {exercise.scene!r}; there are {', '.join(SCENES)}")
    deeds = (exercise.right,) if player == IDEAL else (mistakes[player].deed, exercise.right)
    if chooses is not None:
        deeds = ()
    return run_virtual(lambda clock: _work(exercise, folder, seed, deeds, out, chooses, level, clock))


async def _work(
    exercise: Exercise,
    folder: Path,
    seed: int,
    deeds: tuple[Deed, ...],
    out: Path | None,
    chooses: Chooses | None,
    level: str,
    clock: LoopClock,
) -> Worked:
    scene = SCENES[exercise.scene]
    bus = InLoopBus(clock)
    car = make_car(scene.car, seed, scene.options)
    assert isinstance(car, CarBase)
    car.attach(bus, clock)
    sizes = hidden_sizes(exercise, seed)
    try:
        hands = _Hands(scene, _after(exercise, sizes, deeds), car, clock)
        person = _Player(scene, deeds, hands, car, clock, chooses)
        link = BusLink(bus, clock)
        desk = Desk(
            link, clock, person, book_for(scene), scene.modules, WORKSHOP, TECHNICIAN,
            gate_timeout_s=60.0, key=scene.key, mapped=scene.mapped,
        )  # fmt: skip
        with open_journal(folder, key=load_key(folder)) as journals:
            number = f"practice-{exercise.id}-{seed:04d}"
            journal = journals.create(number, source=link, clock=clock)
            try:
                await work_job(desk, journal, read_order(_ticket(exercise, scene, car), number), WritesPolicy())
            except AsleftError as error:
                if error.code is not Code.STOPPED_BY_PERSON:
                    raise
            head = write_papers(folder, journal, out) if out is not None else ""
            events = journal.events()
        readings = {f"{h.act}.{h.pick}": float(car.act(h.act)[h.pick]) for h in exercise.honest if h.act}
    finally:
        car.detach()
    return Worked(exercise, events, Grading(exercise.id, seed, level, sizes, readings), head)


def _after(exercise: Exercise, sizes: Mapping[str, float], deeds: tuple[Deed, ...]) -> dict[str, tuple[ActLine, ...]]:
    """Hidden faults first, then what the player does; a mistake's acts stand in place of the right ones."""
    after: dict[str, tuple[ActLine, ...]] = {}
    for h in exercise.hidden:
        numbers = {} if h.low is None else {"size": sizes[h.fault]}
        after[h.after] = (*after.get(h.after, ()), ActLine("fault", 2.0, numbers, {"name": h.fault}))
    done: set[str] = set()
    for deed in deeds:
        for act, lines in deed.after.items():
            if act not in done:
                done.add(act)
                after[act] = (*after.get(act, ()), *lines)
    return after


def _ticket(exercise: Exercise, scene: Play, car: CarBase) -> dict[str, Any]:
    return {
        "vin": getattr(car, "vin", ""),
        "make": scene.make,
        "model": scene.model,
        "year": scene.year,
        "work_items": [scene.work],
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
