"""The demo book played: every procedure of the fictional workshop as a job of its own, in virtual time.

A play is data: which bench car, what was done to it, what hands do when a question asks for an act, what instruments
and eyes answer. A failing play changes physics or the person's acts, never a result::

    result = play(PLAYS["brake-pressure-zero-brevik"], Path("data"), fail="pedal-hangs")
    result.verdict      # FAIL
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.garage import make_car
from asleft.book.procedure import Way
from asleft.book.shelf import Book, load_book
from asleft.event.envelope import Event
from asleft.event.fold import JobState, RunState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.job.keyring import load_key
from asleft.job.papers import write_papers
from asleft.job.planning import CLOSING_PROCEDURE
from asleft.job.settings import BOOK
from asleft.link.bus_link import BusLink
from asleft.live.mapped import MappedSignal
from asleft.model.errors import Code, InputError
from asleft.model.question import Answer, Question
from asleft.model.verdict import Verdict
from asleft.ports.access import AccessKey
from asleft.record.journal import open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy

from .driver import BenchDriver, LocalActs
from .person import ScriptedPerson
from .scene import TECHNICIAN, WORKSHOP

_WAY_WORDS = {Way.BY_WIRE: "by wire, from here", Way.BESIDE: "beside another tester", Way.BY_HAND: "by hand, coached"}
#: Longest wait for entry conditions in a play, s.
_GATE_S = 60.0
#: More questions than this in one job, and the play goes round in circles.
_MOST_QUESTIONS = 150


@dataclass(frozen=True)
class Do:
    """One act at the car, ``after_s`` after the one before."""

    act: str
    after_s: float = 0.0
    args: Mapping[str, Any] = field(default_factory=dict[str, Any])


def do(act: str, after_s: float = 0.0, /, **args: Any) -> Do:
    """Short form of ``Do``."""
    return Do(act, after_s, args)


@dataclass(frozen=True)
class Sees:
    """An answer that comes from the car: what eyes or an instrument give there.

    Attributes: act, args: of the car. pick: part of what it gives. words: what is given -> what is answered.
    """

    act: str
    args: Mapping[str, Any] = field(default_factory=dict[str, Any])
    pick: str = ""
    words: Mapping[str, str] = field(default_factory=dict[str, str])

    def answer(self, car: CarBase) -> str:
        """Look now."""
        seen = car.act(self.act, **self.args)
        value = seen[self.pick] if self.pick else seen
        return self.words.get(str(value), str(value))


Said = str | Sees


@dataclass(frozen=True)
class Failing:
    """What is different in a run that does not pass.

    Attributes:
        why: in words, for the docs.
        after: act of a question -> done in addition, when that act is over.
        instead: act of a question -> done in its place.
        answers: part of a question -> answer that differs.
        options: of the car.
        verdict: what the record must say.
    """

    why: str
    after: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    instead: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    answers: Mapping[str, tuple[Said, ...]] = field(default_factory=dict[str, tuple[Said, ...]])
    options: Mapping[str, Any] = field(default_factory=dict[str, Any])
    verdict: Verdict = Verdict.FAIL


@dataclass(frozen=True)
class Play:
    """One procedure of the demo book on its bench car.

    Attributes:
        procedure: id in the book. car, options: of the garage. make, model, year, work: on the order.
        modules, mapped: what the workshop knows of the car.
        acts: act of a question -> what hands do; the person answers when they are done.
        meanwhile: the same, but the person answers at once and the hands go on.
        answers: part of a question -> answers, used up one by one; the last one stays.
        fails: by name.
        key: the workshop's authorised access, where the module asks for it.
    """

    procedure: str
    car: str
    make: str
    model: str
    year: int
    work: str
    modules: ModuleMap
    mapped: tuple[MappedSignal, ...] = ()
    options: Mapping[str, Any] = field(default_factory=dict[str, Any])
    acts: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    meanwhile: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    answers: Mapping[str, tuple[Said, ...]] = field(default_factory=dict[str, tuple[Said, ...]])
    fails: Mapping[str, Failing] = field(default_factory=dict[str, Failing])
    way: Way = Way.BY_WIRE
    key: AccessKey | None = None


@dataclass(frozen=True)
class Played:
    """What a play left.

    Attributes: events: of the job. function: that was played. virtual_s: at the car, s. head: hash of the last event.
    """

    events: tuple[Event, ...]
    function: str
    virtual_s: float
    head: str = ""

    @property
    def state(self) -> JobState:
        """The job as its events say."""
        return fold(self.events)

    @property
    def run(self) -> RunState | None:
        """The last run of the function."""
        runs = [r for r in self.state.runs.values() if r.started.function == self.function]
        return runs[-1] if runs else None

    @property
    def verdict(self) -> Verdict:
        """Of the function: CANNOT TELL where no run came to its end."""
        run = self.run
        return run.verdict if run is not None and run.verdict is not None else Verdict.CANNOT_TELL

    @property
    def passed(self) -> bool:
        """Whether it came to its end and every criterion passed."""
        return self.verdict is Verdict.PASS


class _Hands:
    """Does acts at the car: the play's own, else those every bench driver knows."""

    def __init__(self, play: Play, fail: Failing | None, car: CarBase, clock: LoopClock) -> None:
        self._play = play
        self._fail = fail or Failing("")
        self._car = LocalActs(car)
        self._clock = clock
        self.driver = BenchDriver(self._car, clock)

    async def do(self, act: str) -> None:
        """Do what a question asks for."""
        if not act:
            return
        later = self._play.meanwhile.get(act)
        if act in self._play.meanwhile:
            self.driver.meanwhile(self._all(self._fail.instead.get(act, later or ())))
        elif act in self._play.acts or act in self._fail.instead:
            await self._all(self._fail.instead.get(act, self._play.acts.get(act, ())))
        else:
            await self.driver.do(act)
        await self._all(self._fail.after.get(act, ()))

    async def _all(self, acts: tuple[Do, ...]) -> None:
        for one in acts:
            if one.after_s:
                await self._clock.sleep_until(self._clock.now() + one.after_s)
            if one.act != "wait":
                await self._car.act(one.act, **one.args)


class _BookPerson(ScriptedPerson):
    """A technician who plays by a play: acts by hands, answers by eyes and instruments."""

    def __init__(self, play: Play, fail: Failing | None, hands: _Hands, car: CarBase, clock: LoopClock) -> None:
        super().__init__(hands.driver, clock, TECHNICIAN)
        self._hands = hands
        self._bench = car
        self._bench_clock = clock
        own: Mapping[str, tuple[Said, ...]] = fail.answers if fail else {}
        given = {**{k: v for k, v in play.answers.items() if k not in own}, **own}
        # first, since the reason it quotes may hold the words of any question
        self._said: dict[str, list[Said]] = {"ended after": ["leave it open"]}
        self._said |= {k: list(v) for k, v in given.items()}
        self._said.setdefault("how is it done", [_WAY_WORDS[play.way]])

    async def answer(self, question: Question) -> Answer:
        """Think, do, look, answer."""
        self.asked.append(question)
        if len(self.asked) > _MOST_QUESTIONS:
            raise AssertionError(f"the play goes round in circles at: {question.message.text}")
        await self._bench_clock.sleep_until(self._bench_clock.now() + 2.0)
        await self._hands.do(question.act)
        for part, said in self._said.items():
            if part in question.message.text and said:
                one = said.pop(0) if len(said) > 1 else said[0]
                text = one.answer(self._bench) if isinstance(one, Sees) else one
                return Answer(question.id, text, TECHNICIAN)
        return Answer(question.id, self._choose(question), TECHNICIAN)


def book_for(play: Play) -> Book:
    """The program's own book with this procedure and the closing one only: the rest stays open on the record."""
    book = load_book(BOOK)
    kept = tuple(p for p in book.procedures if p.procedure.id in (play.procedure, CLOSING_PROCEDURE))
    return msgspec.structs.replace(book, procedures=kept)


def play(one: Play, folder: Path, *, fail: str = "", seed: int = 1, out: Path | None = None) -> Played:
    """Play it to its end.

    Args: folder: data folder with key and journal. fail: name of a failing run; empty: as it should be done.
        out: folder for the papers; None: none are written.
    Raises: InputError: no such failing run. AsleftError: the job stopped on the way.
    """
    if fail and fail not in one.fails:
        raise InputError(Code.ACT_UNKNOWN, f"no failing run {fail!r}; there are {', '.join(one.fails) or 'none'}")
    return run_virtual(lambda clock: _work(one, one.fails.get(fail), folder, seed, out, clock))


async def _work(one: Play, fail: Failing | None, folder: Path, seed: int, out: Path | None, clock: LoopClock) -> Played:
    bus = InLoopBus(clock)
    options = {**one.options, **(fail.options if fail else {})}
    car = make_car(one.car, seed, options)
    assert isinstance(car, CarBase)
    car.attach(bus, clock)
    try:
        hands = _Hands(one, fail, car, clock)
        person = _BookPerson(one, fail, hands, car, clock)
        link = BusLink(bus, clock)
        book = book_for(one)
        desk = Desk(
            link, clock, person, book, one.modules, WORKSHOP, TECHNICIAN,
            gate_timeout_s=_GATE_S, key=one.key, mapped=one.mapped,
        )  # fmt: skip
        number = f"2031-B{seed:03d}"
        with open_journal(folder, key=load_key(folder)) as journals:
            journal = journals.create(number, source=link, clock=clock)
            await work_job(desk, journal, read_order(_order(one, getattr(car, "vin", "")), number), WritesPolicy())
            head = write_papers(folder, journal, out) if out is not None else ""
            events = journal.events()
    finally:
        car.detach()
    return Played(events, book.procedure(one.procedure).procedure.function, clock.now(), head)


def _order(one: Play, vin: str) -> dict[str, Any]:
    return {
        "vin": vin,
        "make": one.make,
        "model": one.model,
        "year": one.year,
        "work_items": [one.work],
        "order": f"practice: {one.procedure}",
    }
