"""The demo book played: every procedure of the fictional workshop as a job of its own, in virtual time.

A play is data: which bench car, what was done to it, what hands do when a question asks for an act, what instruments
and eyes answer. A failing play changes physics or the person's acts, never a result::

    result = play(PLAYS["brake-pressure-zero-brevik"], Path("data"), fail="pedal-hangs")
    result.verdict      # FAIL
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.garage import make_car
from asleft.bench.kline import KLine
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
from asleft.link.kline import KLineLink
from asleft.live.mapped import MappedSignal
from asleft.model.errors import Code, InputError
from asleft.model.verdict import Verdict
from asleft.ports.access import AccessKey
from asleft.record.journal import open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy

from .driver import LocalActs
from .hands import WAY_WORDS, Do, Said, SceneHands, ScenePerson, Script, Sees, do
from .other_tester import WithOtherTester
from .scene import TECHNICIAN, WORKSHOP

__all__ = ["Do", "Failing", "Play", "Played", "Sees", "book_for", "do", "play"]

#: Longest wait for entry conditions in a play, s.
_GATE_S = 60.0


@dataclass(frozen=True)
class Failing:
    """What is different in a run that does not pass.

    Attributes:
        why: in words, for the docs.
        after: act of a question -> done in addition, when that act is over.
        instead: act of a question -> done in its place.
        doing: part of a question -> done before it is answered, once.
        answers: part of a question -> answer that differs.
        options: of the car.
        verdict: what the record must say.
    """

    why: str
    after: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    instead: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    doing: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
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
        doing: part of a question -> done before it is answered, once.
        answers: part of a question -> answers, used up one by one; the last one stays.
        fails: by name.
        way: how it is carried out; ``fails`` are of this way. more_ways: others that the bench can play.
        key: the workshop's authorised access, where the module asks for it.
        also: further procedures that the book of this job holds.
        on_line: the car is on a K-line.
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
    doing: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    answers: Mapping[str, tuple[Said, ...]] = field(default_factory=dict[str, tuple[Said, ...]])
    fails: Mapping[str, Failing] = field(default_factory=dict[str, Failing])
    way: Way = Way.BY_WIRE
    more_ways: tuple[Way, ...] = ()
    key: AccessKey | None = None
    also: tuple[str, ...] = ()
    on_line: bool = False


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


def script_of(play: Play, fail: Failing | None = None) -> Script:
    """How a play is played, with what is different in a run that does not pass."""
    failing = fail or Failing("")
    first = {act: did for act, did in failing.instead.items() if act in play.meanwhile}
    given = {**{k: v for k, v in play.answers.items() if k not in failing.answers}, **failing.answers}
    return Script(
        acts={**play.acts, **{act: did for act, did in failing.instead.items() if act not in first}},
        meanwhile={**play.meanwhile, **first},
        after=failing.after,
        doing={**play.doing, **failing.doing},
        answers=(*given.items(), ("how is it done", (WAY_WORDS[play.way],))),
    )


def book_for(play: Play) -> Book:
    """The program's own book with this procedure and the closing one only: the rest stays open on the record."""
    book = load_book(BOOK)
    kept = tuple(p for p in book.procedures if p.procedure.id in (play.procedure, CLOSING_PROCEDURE, *play.also))
    return msgspec.structs.replace(book, procedures=kept)


def play(
    one: Play, folder: Path, *, fail: str = "", way: Way | None = None, seed: int = 1, out: Path | None = None
) -> Played:
    """Play it to its end.

    Args: folder: data folder with key and journal. fail: name of a failing run; empty: as it should be done.
        way: another way than the play's own. out: folder for the papers; None: none are written.
    Raises: InputError: no such failing run or way. AsleftError: the job stopped on the way.
    """
    if way is not None and way is not one.way:
        if way not in one.more_ways or fail:
            raise InputError(Code.ACT_UNKNOWN, f"{one.procedure} is not played {way.value} {fail}".rstrip())
        one = replace(one, way=way)
    if fail and fail not in one.fails:
        raise InputError(Code.ACT_UNKNOWN, f"no failing run {fail!r}; there are {', '.join(one.fails) or 'none'}")
    return run_virtual(lambda clock: _work(one, one.fails.get(fail), folder, seed, out, clock))


async def _work(one: Play, fail: Failing | None, folder: Path, seed: int, out: Path | None, clock: LoopClock) -> Played:
    bus = InLoopBus(clock)
    options = {**one.options, **(fail.options if fail else {})}
    car = make_car(one.car, seed, options)
    assert isinstance(car, CarBase)
    line = KLine(clock)
    car.attach(bus, clock, line)
    try:
        script = script_of(one, fail)
        person = ScenePerson(script, SceneHands(script, WithOtherTester(LocalActs(car), bus, clock), clock), clock)
        link = KLineLink(line, clock) if one.on_line else BusLink(bus, clock)
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
