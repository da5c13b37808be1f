"""The thin line under faults: a silent module, a lost answer, Ctrl-C and crashes at the worst moments.

What must hold: nothing that changes the car goes out twice for one intent; nothing acknowledged is lost; every effect
is settled or stands as a question; modules are in their default session where the link still answers.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus_faults import Faults
from asleft.event.body import Body, IntentWritten
from asleft.event.envelope import Event, type_of
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.effect import Settlement
from asleft.model.errors import Code
from asleft.model.question import Question, QuestionKind
from asleft.model.verdict import RunEnd, Verdict
from asleft.record.journal import JobJournal
from kit.bench_job import HookedPerson, Outcome, Scene, play, work
from kit.chosen import few

LEARN = "throttle-stop-learn-1"
START = "31 01 5A 31"


def test_a_module_that_falls_silent_ends_in_a_sentence_not_a_hang(tmp_path: Path) -> None:
    def cut(scene: Scene, question: Question) -> Any:
        if question.kind is QuestionKind.EFFECT:
            scene.bus.faults = Faults(lost=1.0, only=lambda f: f.id == 0x7E8)
        if "ended after" in question.message.text:
            scene.bus.faults = Faults()
            return "leave it open"
        return None

    silent = play(tmp_path, hook=cut, gate_timeout_s=30.0)
    run = silent.state.runs[LEARN]
    assert run.end in (RunEnd.FAILED, RunEnd.REFUSED)
    assert run.verdict is Verdict.CANNOT_TELL
    assert silent.sent(START) <= 1


def test_a_lost_answer_to_the_start_is_settled_by_reading_never_by_sending_again(tmp_path: Path) -> None:
    """The module did start; its answer was lost: the session is waited out, the module read, the start not repeated."""
    lost: list[int] = []

    def swallow(scene: Scene, question: Question) -> Any:
        if "Start now" in question.message.text and not lost:
            lost.append(1)
            answer = bytes.fromhex("71015A31")

            def is_answer(frame: Any) -> bool:
                return frame.id == 0x7E8 and answer in frame.data

            scene.bus.faults = Faults(lost=1.0, only=is_answer)
            scene.clock.call_at(scene.clock.now() + 4.0, lambda: setattr(scene.bus, "faults", Faults()))
        return "leave it open" if "ended after" in question.message.text else None

    unheard = play(tmp_path, hook=swallow)
    assert unheard.sent(START) == 1
    effect = unheard.state.effects[f"{LEARN}.i1"]
    assert effect.settlement in (Settlement.DONE, Settlement.NOT_DONE, Settlement.PERSON_MUST_DECIDE)
    assert unheard.state.runs[LEARN].verdict is not Verdict.PASS


def test_no_car_on_the_bus_is_a_sentence_with_what_to_do(tmp_path: Path) -> None:
    """As received nothing answers; what could not be read stands there with its reason, and nothing is pretended."""

    def dead(scene: Scene) -> None:
        scene.bus.faults = Faults(lost=1.0)

    nobody = play(tmp_path, prepare=dead)
    assert nobody.error is not None
    assert nobody.error.code in (Code.MODULE_SILENT, Code.NO_BUS)
    assert nobody.state.stopped is not None
    assert not nobody.intents


@pytest.mark.parametrize("after", few(["session", "learn", "rest", "sweep", "clear"], ["learn", "clear"]))
def test_interrupted_from_the_keyboard(tmp_path: Path, after: str) -> None:
    """Ctrl-C: modules in their default session, the record complete up to there, and the job goes on later."""
    marks = {
        "session": "step-started@1 extended",
        "learn": "module-told@1",
        "rest": "step-started@1 rest-cycles-2",
        "sweep": "step-started@1 sweep",
        "clear": "intent-written@1 clears",
    }

    async def main(clock: LoopClock) -> tuple[Outcome, Outcome]:
        scene = Scene(clock, tmp_path)
        task = asyncio.ensure_future(work(scene, scene.person()))
        _cancel_at(task, marks[after])
        with pytest.raises(asyncio.CancelledError):
            await task
        sessions = {m.name: m.session for m in scene.car.modules}
        cut = Outcome((), frames=list(scene.frames), sessions=sessions)
        again = await work(scene, scene.person())
        scene.car.detach()
        return cut, again

    cut, again = run_virtual(main)
    assert set(cut.sessions.values()) == {1}
    _holds(again)
    assert again.state.closed is not None


def _cancel_at(task: asyncio.Future[Any], mark: str) -> None:
    original = JobJournal.append

    def append(self: JobJournal, body: Body, *, actor: str = "") -> Event:
        event = original(self, body, actor=actor)
        words = f"{type_of(body)} {getattr(body, 'step', '') or getattr(getattr(body, 'intent', None), 'effect', '')}"
        if words.strip().startswith(mark) and not task.done():
            JobJournal.append = original
            task.cancel()
        return event

    JobJournal.append = append


class Crash(BaseException):
    """The power is gone."""


#: Where the program dies: after the nth event of a type, around every kind of effect and between.
MOMENTS = [
    "picture-taken@1 1",
    "plan-made@1 1",
    "run-started@1 1",
    "intent-written@1 1",
    "effect-answered@1 1",
    "module-told@1 2",
    "effect-settled@1 1",
    "step-started@1 8",
    "samples-taken@1 6",
    "intent-written@1 2",
    "effect-settled@1 3",
    "codes-cleared@1 1",
    "run-ended@1 1",
]


#: Of these the long run plays each, and every other event besides.
QUICK = {"plan-made@1 1", "intent-written@1 1", "effect-answered@1 1", "effect-settled@1 3", "codes-cleared@1 1"}


@pytest.mark.parametrize("moment", few(MOMENTS, QUICK))
def test_a_crash_after_an_append_loses_nothing_and_repeats_nothing(tmp_path: Path, moment: str) -> None:
    kind, number = moment.split()
    _crash_and_go_on(tmp_path, lambda kinds: kinds[kind] >= int(number))


@pytest.fixture(scope="module")
def appends(tmp_path_factory: pytest.TempPathFactory) -> int:
    """How many events the job writes when nothing happens to it."""
    return len(play(tmp_path_factory.mktemp("whole")).events)


#: The crashes after every append, dealt out to so many tests.
PARTS = 16


@pytest.mark.full
@pytest.mark.timeout(600)
@pytest.mark.parametrize("part", range(PARTS))
def test_a_crash_after_every_append(tmp_path: Path, appends: int, part: int) -> None:
    """Every one of them: as many as the job itself writes, but the last, after which it is closed."""
    assert appends > 100
    for count in range(1 + part, appends, PARTS):
        _crash_and_go_on(tmp_path / str(count), lambda kinds, count=count: kinds.total() >= count)


def _crash_and_go_on(folder: Path, dead: Callable[[Counter[str]], bool]) -> None:
    acknowledged: list[Event] = []
    kinds: Counter[str] = Counter()
    original = JobJournal.append

    def append(self: JobJournal, body: Body, *, actor: str = "") -> Event:
        if dead(kinds):
            raise Crash
        event = original(self, body, actor=actor)
        acknowledged.append(event)
        kinds[type_of(body)] += 1
        if dead(kinds):
            raise Crash
        return event

    async def main(clock: LoopClock) -> Outcome:
        scene = Scene(clock, folder)
        send = scene.link.send

        def mute(frame: Any) -> None:
            """A dead program sends nothing any more."""
            if not dead(kinds):
                send(frame)

        scene.link.send = mute  # type: ignore[method-assign]
        JobJournal.append = append
        try:
            with pytest.raises(Crash):
                await work(scene, HookedPerson(scene.person(), lambda _q: None))
        finally:
            JobJournal.append = original
            scene.link.send = send  # type: ignore[method-assign]
        outcome = await work(scene, HookedPerson(scene.person(), lambda _q: None))
        scene.car.detach()
        return outcome

    outcome = run_virtual(main)
    assert outcome.events[: len(acknowledged)] == tuple(acknowledged)
    _holds(outcome)
    assert outcome.state.closed is not None


def _holds(outcome: Outcome) -> None:
    """Every effect at the bus has its own intent, sent at most once; every intent is settled."""
    intents = Counter(
        (e.body.intent.payload, e.body.intent.target.request_id)
        for e in outcome.events
        if isinstance(e.body, IntentWritten)
    )
    sent: Counter[tuple[str, int]] = Counter()
    for frame in outcome.frames:
        length = frame.data[0]
        payload = frame.data[1 : 1 + length].hex().upper()
        if length <= 7 and (payload.startswith(("3101", "3102", "14"))):
            sent[(payload, frame.id)] += 1
    for key, times in sent.items():
        assert times <= intents[key], f"{key} went out {times} times for {intents[key]} intents"
    assert not outcome.state.unsettled
