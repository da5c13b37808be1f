"""The demo job on the petrol bench car in virtual time, with faults that a test chooses."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.book.shelf import Book, load_book
from asleft.event.body import IntentWritten
from asleft.event.envelope import Event
from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.job.settings import BOOK
from asleft.link.bus_link import BusLink
from asleft.model.errors import AsleftError
from asleft.model.frame import CanFrame
from asleft.model.question import Answer, Question
from asleft.practice.driver import BenchDriver, LocalActs
from asleft.practice.person import ScriptedPerson
from asleft.practice.scene import ALDRA, TECHNICIAN, WORKSHOP, demo_order
from asleft.record.journal import open_journal
from asleft.talk.policy import WritesPolicy


@cache
def whole_book() -> Book:
    """The book that comes with the program, read once in a process."""
    return load_book(BOOK)


class Scene:
    """Car, bus, link and clock of one test, in virtual time."""

    def __init__(self, clock: LoopClock, folder: Path, seed: int = 1, cleaned: float = 1.0) -> None:
        self.clock = clock
        self.folder = folder
        self.bus = InLoopBus(clock)
        self.car = PetrolCar(seed=seed, cleaned=cleaned, warm=True)
        self.car.attach(self.bus, clock)
        self.link = BusLink(self.bus, clock)
        self.driver = BenchDriver(LocalActs(self.car), clock, cleaned)
        self.frames: list[CanFrame] = []
        self.link.when_sent(self.frames.append)

    def person(self, answers: dict[str, list[str]] | None = None) -> ScriptedPerson:
        """A technician who plays by a script."""
        return ScriptedPerson(self.driver, self.clock, TECHNICIAN, answers)

    def session_of(self, module: str) -> int:
        """Diagnostic session a module of the car is in, from the car itself."""
        return next(m for m in self.car.modules if m.name == module).session


@dataclass
class Outcome:
    """What a job left."""

    events: tuple[Event, ...]
    error: AsleftError | None = None
    frames: list[CanFrame] = field(default_factory=list)
    sessions: dict[str, int] = field(default_factory=dict)

    @property
    def state(self) -> JobState:
        return fold(self.events)

    def sent(self, payload: str) -> int:
        """How often single frames with this payload (hex) went out."""
        data = bytes.fromhex(payload)
        return sum(f.data[1 : 1 + len(data)] == data and f.data[0] == len(data) for f in self.frames)

    @property
    def intents(self) -> list[str]:
        """Payloads of all intents, in order."""
        return [e.body.intent.payload for e in self.events if isinstance(e.body, IntentWritten)]


class HookedPerson:
    """Asks a test before the script answers: it may change the car, say stop, or raise."""

    def __init__(self, inner: ScriptedPerson, hook: Callable[[Question], Any]) -> None:
        self._inner = inner
        self._hook = hook

    @property
    def wants_stop(self) -> bool:
        return self._inner.wants_stop

    async def answer(self, question: Question) -> Answer:
        said = self._hook(question)
        if asyncio.iscoroutine(said):
            said = await said
        if said == "stop":
            self._inner.stop()
        answer = await self._inner.answer(question)
        return answer if not isinstance(said, str) or said == "stop" else Answer(question.id, said, answer.by)


def own_book(*, idle: bool) -> Book:
    """The book that comes with the program; without the idle relearn where a test needs the shorter job."""
    book = whole_book()
    kept = tuple(p for p in book.procedures if idle or p.procedure.function != "idle-relearn")
    return msgspec.structs.replace(book, procedures=kept)


async def work(
    scene: Scene,
    person: Any,
    number: str = "T-1",
    *,
    gate_timeout_s: float = 1800.0,
    vfs: str | None = None,
    idle: bool = False,
) -> Outcome:
    """Work the demo job, new or from where it stands; a typed error ends up in the outcome."""
    book = own_book(idle=idle)
    desk = Desk(scene.link, scene.clock, person, book, ALDRA, WORKSHOP, TECHNICIAN, gate_timeout_s=gate_timeout_s)
    order = read_order(demo_order(scene.car.vin), number)
    error: AsleftError | None = None
    with open_journal(scene.folder, vfs=vfs) as journals:
        known = number in journals.list_jobs()
        open_it = journals.reopen if known else journals.create
        journal = open_it(number, source=scene.link, clock=scene.clock)
        try:
            await work_job(desk, journal, order, WritesPolicy())
        except AsleftError as problem:
            error = problem
        finally:
            events = journal.events()
            journal.give_back()
    sessions = {m.name: m.session for m in scene.car.modules}
    return Outcome(events, error, scene.frames, sessions)


def play(
    folder: Path,
    *,
    seed: int = 1,
    cleaned: float = 1.0,
    answers: dict[str, list[str]] | None = None,
    hook: Callable[[Scene, Question], Any] = lambda _scene, _question: None,
    prepare: Callable[[Scene], None] = lambda _scene: None,
    gate_timeout_s: float = 1800.0,
    idle: bool = False,
) -> Outcome:
    """The whole job in virtual time; ``idle``: with the idle relearn."""

    async def main(clock: LoopClock) -> Outcome:
        scene = Scene(clock, folder, seed, cleaned)
        prepare(scene)
        try:
            person = HookedPerson(scene.person(answers), lambda q: hook(scene, q))
            return await work(scene, person, gate_timeout_s=gate_timeout_s, idle=idle)
        finally:
            scene.car.detach()

    return run_virtual(main)
