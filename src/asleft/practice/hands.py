"""Hands and answers of whoever plays a scene: acts at the bench car, and what eyes and instruments there say.

One person for the demo book, the scripted players, somebody at a terminal and the live practice; what differs is data::

    script = Script(acts={"turn-round": (do("turn_round"),)}, answers=(("the lamp", (Sees("look_at_lamp"),)),))
    person = ScenePerson(script, SceneHands(script, LocalActs(car), clock), clock)
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from asleft.book.procedure import Way
from asleft.model.question import Answer, Question
from asleft.ports.clock import Clock

from .driver import BenchDriver, CarActs
from .person import ScriptedPerson
from .scene import TECHNICIAN

#: What is answered to the question how it is done.
WAY_WORDS = {Way.BY_WIRE: "by wire, from here", Way.BESIDE: "beside another tester", Way.BY_HAND: "by hand, coached"}
#: Part of the question whether an ended run is tried again. It quotes the one that stopped: it is looked at first.
ENDED = "ended after"
#: Act before anything else: nobody asks for it.
BEGIN = "begin"
#: More questions than this in one job, and it goes round in circles.
_MOST_QUESTIONS = 150
#: How long an answer takes, s.
_THINKS_S = 2.0


@dataclass(frozen=True)
class Do:
    """One act at the car, ``after_s`` after the one before; ``wait`` is only its time."""

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

    async def answer(self, car: CarActs) -> str:
        """Look now."""
        seen = await car.act(self.act, **self.args)
        value = seen[self.pick] if self.pick else seen
        return self.words.get(str(value), str(value))


Said = str | Sees
#: Says what is answered before the script does, or None to leave it to the script.
Chooses = Callable[[Question], Awaitable[str | None]]


@dataclass(frozen=True)
class Script:
    """How a scene is played.

    Attributes:
        acts: act of a question -> what hands do; the person answers when they are done.
        meanwhile: the same, but the person answers at once and the hands go on.
        after: act of a question -> done in addition, when that act is over.
        once: ``after`` only the first time.
        answers: part of a question -> answers, looked through in order, used up one by one; the last one stays.
        doing: part of a question -> done before it is answered, once.
        wait_s: lost before the first answer.
    """

    acts: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    meanwhile: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    after: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    once: bool = False
    answers: tuple[tuple[str, tuple[Said, ...]], ...] = ()
    doing: Mapping[str, tuple[Do, ...]] = field(default_factory=dict[str, tuple[Do, ...]])
    wait_s: float = 0.0


class SceneHands:
    """Does acts at the car: the script's own, else those every bench driver knows."""

    def __init__(self, script: Script, car: CarActs, clock: Clock) -> None:
        self._script = script
        self.car = car
        self._clock = clock
        self._done: set[str] = set()
        self.driver = BenchDriver(car, clock)

    async def do(self, act: str) -> None:
        """Do what a question asks for."""
        if not act:
            return
        script = self._script
        if act in script.meanwhile:
            self.driver.meanwhile(self.all_of(script.meanwhile[act]))
        elif act in script.acts:
            await self.all_of(script.acts[act])
        else:
            await self.driver.do(act)
        if not (script.once and act in self._done):
            self._done.add(act)
            await self.all_of(script.after.get(act, ()))

    async def all_of(self, acts: tuple[Do, ...]) -> None:
        """Do acts one after the other."""
        for one in acts:
            if one.after_s:
                await self._clock.sleep_until(self._clock.now() + one.after_s)
            if one.act != "wait":
                await self.car.act(one.act, **one.args)


class ScenePerson(ScriptedPerson):
    """A technician who plays a script: acts by hands, answers by eyes and instruments.

    Args: chooses: asked first; without an answer the script's counts.
    """

    def __init__(self, script: Script, hands: SceneHands, clock: Clock, chooses: Chooses | None = None) -> None:
        super().__init__(hands.driver, clock, TECHNICIAN)
        self._hands = hands
        self._time = clock
        self._chooses = chooses
        self._wait_s = script.wait_s
        self._doing = dict(script.doing)
        said = [(part, list(answers)) for part, answers in script.answers]
        self._said = sorted([*said, (ENDED, list[Said](("leave it open",)))], key=lambda one: one[0] != ENDED)

    async def answer(self, question: Question) -> Answer:
        """Think, do, look, answer."""
        self.asked.append(question)
        if len(self.asked) > _MOST_QUESTIONS:
            raise AssertionError(f"the script goes round in circles at: {question.message.text}")
        await self._time.sleep_until(self._time.now() + _THINKS_S + self._wait_s)
        self._wait_s = 0.0
        chosen = await self._chooses(question) if self._chooses is not None else None
        await self._hands.do(question.act)
        for part in [part for part in self._doing if part in question.message.text]:
            await self._hands.all_of(self._doing.pop(part))
        return Answer(question.id, chosen if chosen is not None else await self._scripted(question), TECHNICIAN)

    async def _scripted(self, question: Question) -> str:
        for part, said in self._said:
            if part in question.message.text and said:
                one = said.pop(0) if len(said) > 1 else said[0]
                return await one.answer(self._hands.car) if isinstance(one, Sees) else one
        return self._choose(question)
