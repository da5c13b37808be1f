"""Another order, chosen by a person: what forbids it is refused with its reason, and the job goes on in it."""

from __future__ import annotations

import asyncio
from pathlib import Path

import msgspec
import pytest

from asleft.event import body as b
from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.course import Course, begun_in, chosen_order
from asleft.job.desk import Desk
from asleft.job.engine import Engine, read_order, work_job
from asleft.job.moving import try_order
from asleft.job.person import CommandPerson
from asleft.job.planning import needs_and_plan
from asleft.model.control import Holder
from asleft.model.errors import AsleftError, Code, InputError, RunError
from asleft.model.message import say
from asleft.model.question import Question
from asleft.plan.work_items import find_work_item
from asleft.practice.scene import ALDRA, TECHNICIAN, WORKSHOP, demo_order
from asleft.record.journal import open_journal
from asleft.talk.policy import WritesPolicy
from kit.bench_job import HookedPerson, Scene, own_book
from kit.events import opened
from kit.gallery import whole_job

WORK = ("throttle body removed, cleaned and refitted", "windscreen replaced")
LEARN, RAIN, IDLE = "throttle-stop-learn", "rain-light-sensor", "idle-relearn"
END = ("planned-clear", "key-cycles", "as-left")
OTHER = (LEARN, IDLE, RAIN, *END)


@pytest.fixture(scope="module")
def planned() -> JobState:
    """A job with its plan, nothing begun; one thing of it may be done at any time."""
    bare = opened()
    assert bare.vehicle is not None
    items = tuple(find_work_item(words) for words in WORK)
    state = JobState(opened=msgspec.structs.replace(bare, work_items=items))
    _, plan = needs_and_plan(state, own_book(idle=True))
    assert tuple(step.function for step in plan.steps) == (LEARN, RAIN, IDLE, *END)
    return JobState(opened=state.opened, plan=plan)


def refused(state: JobState, names: tuple[str, ...], by: str = "M. Okafor", reason: str = "the sun is out") -> str:
    with pytest.raises(InputError) as caught:
        chosen_order(state, Course(), names, by, reason)
    assert caught.value.code is Code.ORDER_REFUSED
    return caught.value.sentence()


def test_an_allowed_order_names_who_why_and_what_it_costs(planned: JobState) -> None:
    chosen = chosen_order(planned, Course(), OTHER, "M. Okafor", "the sun is out")
    assert (chosen.by, chosen.reason) == ("M. Okafor", "the sun is out")
    assert tuple(step.function for step in chosen.plan.steps) == OTHER
    tried = try_order(planned, OTHER)
    assert (chosen.active_min, chosen.elapsed_min) == (tried.active_min, tried.elapsed_min)
    assert len(chosen.broken) == len(tried.conflicts)
    whys = {step.function: step.why.text for step in chosen.plan.steps}
    assert "M. Okafor" in whys[RAIN]
    assert planned.plan is not None
    assert whys[LEARN] == planned.plan.steps[0].why.text


def test_what_forbids_an_order_is_said_with_its_reason(planned: JobState) -> None:
    said = refused(planned, (IDLE, LEARN, RAIN, *END))
    assert "idle opening is counted from the stop" in said
    assert "order already" in refused(planned, (LEARN, RAIN, IDLE, *END))
    assert "who chooses it and why" in refused(planned, OTHER, by="")
    assert "who chooses it and why" in refused(planned, OTHER, reason="")
    assert "at most 200" in refused(planned, OTHER, reason="x" * 201)
    assert "no plan" in refused(JobState(), OTHER)
    assert "no plan" in refused(fold(whole_job()), OTHER), "a closed job"
    with pytest.raises(InputError) as caught:
        chosen_order(planned, Course(), (LEARN, IDLE), "M. Okafor", "x")
    assert caught.value.code is Code.ACT_UNKNOWN


def test_what_has_begun_keeps_its_place(planned: JobState) -> None:
    course = Course()
    for function in (LEARN, RAIN):
        course.begin(function)
        course.begin(function)
    assert begun_in(planned, course) == (LEARN, RAIN)
    with pytest.raises(InputError, match="keeps its place"):
        chosen_order(planned, course, OTHER, "M. Okafor", "x")
    left = JobState(opened=planned.opened, plan=planned.plan, open_items={LEARN: say("x", "left open")})
    assert begun_in(left, Course()) == (LEARN,)


def test_the_job_goes_on_in_the_order_chosen(tmp_path: Path) -> None:
    """Chosen while the first procedure is under way: the rest of the job follows, and so does a job taken up again."""

    async def main(clock: LoopClock) -> list[str]:
        scene = Scene(clock, tmp_path)
        course = Course()
        order = read_order({**demo_order(scene.car.vin), "work_items": list(WORK)}, "T-1")
        with open_journal(tmp_path) as journals:
            journal = journals.create("T-1", source=scene.link, clock=clock)

            def choose(question: Question) -> None:
                state = fold(journal.events())
                if question.message.id == "effect.confirm" and not state.orders:
                    assert course.begun == [LEARN]
                    names = (LEARN, IDLE, RAIN, *END)
                    journal.append(chosen_order(state, course, names, "M. Okafor", "the windscreen waits"), actor="x")

            person = HookedPerson(scene.person(), choose)
            desk = Desk(
                scene.link, clock, person, own_book(idle=False), ALDRA, WORKSHOP, TECHNICIAN, course=course
            )  # fmt: skip
            await work_job(desk, journal, order, WritesPolicy())
            events = journal.events()
            journal.give_back()
            scene.car.detach()
        state = fold(events)
        assert state.closed is not None
        assert [o.reason for o in state.orders] == ["the windscreen waits"]
        return [e.body.item for e in events if isinstance(e.body, b.ItemLeftOpen) and e.body.item in (RAIN, IDLE)]

    assert run_virtual(main) == [IDLE, RAIN]


def test_only_who_may_confirm_chooses_and_the_engine_writes_it(tmp_path: Path, planned: JobState) -> None:
    """The engine's command: under the lease, for the job in hand."""

    async def main(clock: LoopClock) -> None:
        scene = Scene(clock, tmp_path)
        desk = Desk(scene.link, clock, CommandPerson(), own_book(idle=True), ALDRA, WORKSHOP, TECHNICIAN)
        engine = Engine(tmp_path, desk, WritesPolicy(), feed=None)  # type: ignore[arg-type]
        ask = {"order": list(OTHER), "by": "A. Novak", "device": "t2", "reason": "the windscreen waits"}
        with pytest.raises(InputError) as caught:
            await engine._choose_order({"job": "T-9", **ask})
        assert caught.value.code is Code.JOB_UNKNOWN
        number = await engine._open_job({"order": {**demo_order(scene.car.vin), "work_items": list(WORK)}})
        journal = engine._journal
        assert journal is not None
        with pytest.raises(InputError, match="no plan"):
            await engine._choose_order({"job": number, **ask})
        await asyncio.sleep(0)
        assert planned.plan is not None
        journal.append(b.PlanMade(planned.plan))
        engine._control.take(Holder("R. Okafor", "t1"))  # type: ignore[union-attr]
        with pytest.raises(AsleftError) as held:
            await engine._choose_order({"job": number, **ask})
        assert isinstance(held.value, RunError)
        assert held.value.code is Code.CONTROL_HELD
        await engine._choose_order({"job": number, **ask, "by": "R. Okafor", "device": "t1"})
        state = fold(journal.events())
        assert state.plan is not None
        assert tuple(s.function for s in state.plan.steps) == OTHER
        assert state.orders[0].by == "R. Okafor"
        await engine._end_job()
        engine._journals.close()
        scene.car.detach()

    run_virtual(main)
