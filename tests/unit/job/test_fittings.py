"""What the car has is asked once in a job, and the plan rests on the answer."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest

from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.job.fittings import NO, NOT_KNOWN, QUESTION, YES, answered
from asleft.job.moving import try_order
from asleft.job.plans import own_minutes
from asleft.model.errors import AsleftError
from asleft.model.question import Question
from asleft.practice.scene import demo_order
from asleft.record.journal import open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy
from kit.bench_job import HookedPerson, Scene, own_book


class Enough(Exception):
    """The plan is made."""


def until_planned(folder: Path, answers: dict[str, str], times: int = 1) -> tuple[JobState, list[str]]:
    """A job after a battery was off, until its plan stands; answers by part of the question's words."""
    asked: list[str] = []

    async def main(clock: LoopClock) -> JobState:
        scene = Scene(clock, folder)

        def hook(question: Question) -> str | None:
            if question.message.id != QUESTION:
                return None
            asked.append(question.message.values["fitting"])
            if len(asked) == 2 and times == 2:
                raise Enough
            return next((said for part, said in answers.items() if part in question.message.text), NOT_KNOWN)

        order = read_order({**demo_order(scene.car.vin), "work_items": ["battery-disconnected"]}, "T-1")
        for _ in range(times):
            person = HookedPerson(scene.person(), hook)
            desk = Desk(scene.link, clock, person, own_book(idle=False), ModuleMap(), "workshop", "somebody")
            with open_journal(scene.folder) as journals:
                known = "T-1" in journals.list_jobs()
                journal = (journals.reopen if known else journals.create)("T-1", source=scene.link, clock=clock)
                with contextlib.suppress(Enough, AsleftError):
                    await work_job(desk, journal, order, WritesPolicy())
                state = fold(journal.events())
                journal.give_back()
        scene.car.detach()
        return state

    return run_virtual(main), asked


def test_each_is_asked_once_and_the_plan_rests_on_the_answer(tmp_path: Path) -> None:
    state, asked = until_planned(tmp_path, {"windows": YES, "electronic throttle": NO})
    assert sorted(asked) == ["electronic-throttle", "window-or-roof-motors"]
    assert answered(state) == {"window-or-roof-motors": True, "electronic-throttle": False}
    grades = {need.function: need.grade.value for need in state.needs}
    assert grades["window-roof-init"] == "required"
    assert not [item for item in state.open_items if item.startswith("fitted")]
    assert state.plan is not None
    assert "window-roof-init" in {step.function for step in state.plan.steps}
    assert try_order(state).best_min == state.plan.active_min, "another order starts from the same answers"


def test_what_nobody_knows_stays_open(tmp_path: Path) -> None:
    state, _ = until_planned(tmp_path, {})
    assert answered(state) == {}
    assert {"fitted: window-or-roof-motors", "fitted: electronic-throttle"} <= set(state.open_items)


def test_an_answer_survives_a_stop(tmp_path: Path) -> None:
    """Stopped at the second question: the first is not asked again."""
    _, asked = until_planned(tmp_path, {"windows": YES, "electronic throttle": YES}, times=2)
    assert len(asked) == 3
    assert asked[0] not in asked[1:]


def test_the_workshops_own_minutes(tmp_path: Path) -> None:
    assert own_minutes(tmp_path) == own_minutes(tmp_path / "none")
    (tmp_path / "minutes.yaml").write_text("moves:\n  - {name: lift up, active: 9, elapsed: 9}\n", "utf-8")
    with pytest.raises(AsleftError, match=r"minutes\.yaml:2"):
        own_minutes(tmp_path)
