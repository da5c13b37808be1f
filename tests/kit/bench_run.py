"""One procedure on the petrol bench car in virtual time, without the rest of a job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Way
from asleft.book.shelf import Book
from asleft.event.body import IntentWritten, JobOpened
from asleft.event.envelope import Event
from asleft.event.fold import JobState, RunState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.engine import read_order
from asleft.link.bus_link import BusLink
from asleft.live.sampler import LinkSignals
from asleft.model.frame import CanFrame
from asleft.model.module import ModulePicture
from asleft.model.question import Question
from asleft.ports.access import AccessKey
from asleft.practice.driver import BenchDriver, LocalActs
from asleft.practice.person import ScriptedPerson
from asleft.practice.scene import ALDRA, TECHNICIAN, WORKSHOP, demo_order
from asleft.record.job_journal import JobJournal
from asleft.record.journal import open_journal
from asleft.run.engine import Run, RunRequest
from asleft.run.log import RunPorts
from asleft.run.recover import settle_open_effects
from asleft.talk.conversations import Conversations
from asleft.talk.pictures import take_module_picture
from asleft.talk.policy import WritesPolicy

from .bench_job import HookedPerson, whole_book

IDLE, LEARN = "idle-relearn-aldra", "throttle-stop-learn-aldra"
ENGINE = ALDRA.modules[0].address


class RunScene:
    """Car, link, conversation and journal of one test. ``frames``: what the link sent."""

    def __init__(self, clock: LoopClock, folder: Path, seed: int = 1) -> None:
        self.clock = clock
        self.folder = folder
        self.bus = InLoopBus(clock)
        self.car = PetrolCar(seed=seed, warm=True)
        self.car.attach(self.bus, clock)
        self.link = BusLink(self.bus, clock)
        self.driver = BenchDriver(LocalActs(self.car), clock)
        self.frames: list[CanFrame] = []
        self.link.when_sent(self.frames.append)
        self.book: Book = whole_book()
        self.shown: list[tuple[str, Any]] = []
        self.key: AccessKey | None = None
        self.policy = WritesPolicy()

    def person(self, answers: dict[str, list[str]] | None = None) -> ScriptedPerson:
        return ScriptedPerson(self.driver, self.clock, TECHNICIAN, answers)

    async def warm_idle(self) -> None:
        """Engine running long enough for everything."""
        self.car.act("key", position="on")
        await self.clock.sleep_until(self.clock.now() + 3.0)
        self.car.act("key", position="start")
        await self.clock.sleep_until(self.clock.now() + 65.0)

    async def key_on(self) -> None:
        self.car.act("key", position="on")
        await self.clock.sleep_until(self.clock.now() + 3.0)

    def ports(self, journal: JobJournal, talk: Conversations, person: Any) -> RunPorts:
        async def look(address: Any) -> ModulePicture:
            return await take_module_picture(address, ALDRA, talk)

        return RunPorts(
            journal,
            talk,
            LinkSignals(talk, self.clock),
            person,
            self.clock,
            lambda key, value: self.shown.append((key, value)),
            look,
            talk.quiet,
            self.key,
        )

    @property
    def learn_started(self) -> int:
        """How often the idle relearn by hand was accepted by the module."""
        return self.car.hand_learn.taken


@dataclass
class RunOutcome:
    """What one or more runs left."""

    events: tuple[Event, ...]
    frames: list[CanFrame] = field(default_factory=list)
    sessions: dict[str, int] = field(default_factory=dict)
    scene: RunScene | None = None
    done: bool = False

    @property
    def state(self) -> JobState:
        return fold(self.events)

    @property
    def run(self) -> RunState:
        return next(reversed(self.state.runs.values()))

    @property
    def causes(self) -> str:
        """All causes named for the last run."""
        return "; ".join(c for named in self.run.causes for c in named.causes)

    def verdicts(self) -> dict[str, str]:
        return {j.criterion: j.verdict.value for j in self.run.judgements}

    @property
    def intents(self) -> list[str]:
        return [e.body.intent.payload for e in self.events if isinstance(e.body, IntentWritten)]

    def effects_at_link(self) -> list[str]:
        """Payloads of effects among the single frames that went out, in order; of access as the record has them."""
        found: list[str] = []
        for frame in self.frames:
            payload = frame.data[1 : 1 + frame.data[0]].hex().upper() if frame.data[0] <= 7 else ""
            if payload.startswith(("3101", "3102", "14", "2F", "2E", "11", "27")):
                found.append(payload[:4] if payload.startswith("27") else payload)
        return found


def opened(scene: RunScene, journal: JobJournal) -> None:
    """The job's first event."""
    order = read_order(demo_order(scene.car.vin), journal.job)
    journal.append(
        JobOpened(WORKSHOP, order.vehicle, order.work_items, scene.link.origin, scene.link.name, "test", order.order)
    )


async def carry_out(
    scene: RunScene,
    person: Any,
    procedure: str | LoadedProcedure = IDLE,
    way: Way = Way.BY_WIRE,
    *,
    gate_timeout_s: float = 60.0,
    reason: str = "",
    recover: bool = False,
    run: bool = True,
) -> RunOutcome:
    """One run in the job ``T-1``, which is made or gone on with. ``recover``: settle what is open first."""
    loaded = scene.book.procedure(procedure) if isinstance(procedure, str) else procedure
    done = False
    await scene.link.open()
    with open_journal(scene.folder) as journals:
        known = "T-1" in journals.list_jobs()
        journal = (journals.reopen if known else journals.create)("T-1", source=scene.link, clock=scene.clock)
        talk = Conversations(scene.link, scene.clock, journal.redeem, scene.policy)
        ports = scene.ports(journal, talk, person)
        try:
            if not known:
                opened(scene, journal)
            if recover:
                await settle_open_effects(ports, fold(journal.events()), scene.book)
            if run:
                named = loaded.procedure.module
                address = next((m.address for m in ALDRA.modules if m.address.name == named), ENGINE)
                module = await take_module_picture(address, ALDRA, talk)
                number = len(fold(journal.events()).runs) + 1
                request = RunRequest(f"r{number}", loaded, way, module, (module,), gate_timeout_s, reason)
                done = await Run(ports, request).carry_out()
        finally:
            await talk.close()
            await scene.link.close()
            events = journal.events()
            journal.give_back()
    sessions = {m.name: m.session for m in scene.car.modules}
    return RunOutcome(events, scene.frames, sessions, scene, done)


def play_run(
    folder: Path,
    procedure: str | LoadedProcedure = IDLE,
    way: Way = Way.BY_WIRE,
    *,
    seed: int = 1,
    answers: dict[str, list[str]] | None = None,
    hook: Callable[[RunScene, Question], Any] = lambda _scene, _question: None,
    prepare: Callable[[RunScene], None] = lambda _scene: None,
    gate_timeout_s: float = 60.0,
) -> RunOutcome:
    """A run from a warm car in the state that the procedure is done in."""

    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, folder, seed)
        try:
            loaded = scene.book.procedure(procedure) if isinstance(procedure, str) else procedure
            await (scene.warm_idle() if loaded.procedure.state == "warm-idle" else scene.key_on())
            prepare(scene)
            person = HookedPerson(scene.person(answers), lambda q: hook(scene, q))
            return await carry_out(scene, person, loaded, way, gate_timeout_s=gate_timeout_s)
        finally:
            scene.car.detach()

    return run_virtual(main)
