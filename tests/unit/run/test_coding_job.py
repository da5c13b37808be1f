"""A replaced body module from the repair order to the signed record: needs, plan, run, proof, report, restored."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.security import bench_key
from asleft.book.layouts import own_layout
from asleft.book.shelf import load_book
from asleft.coding.decode import decode
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.job.running import KEEP, ONCE_MORE
from asleft.job.settings import BOOK
from asleft.model.module import ModuleAddress, PictureKind
from asleft.model.question import Question
from asleft.model.verdict import RunEnd, Verdict
from asleft.practice.scene import ALDRA, TECHNICIAN, WORKSHOP, demo_order
from asleft.record.journal import open_journal
from asleft.report.view import view
from asleft.run.coding_answers import CHANGE, RIGHT
from asleft.talk.policy import WritesPolicy
from kit.bench_job import HookedPerson, Scene

FUNCTION = "module-coding"


class Keys:
    """The bench's toy key."""

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        return bench_key(seed)


class Bay:
    """The job of a body module that was replaced. ``old``: the coding of the module taken out."""

    def __init__(self, clock: LoopClock, folder: Path) -> None:
        self.scene = Scene(clock, folder)
        self.car: PetrolCar = self.scene.car
        self.old = self.held
        self.events: tuple[Event, ...] = ()
        self._inner = self.scene.driver.do
        self.scene.driver.do = self._do  # type: ignore[method-assign]

    @property
    def held(self) -> bytes:
        return self.car.module("body").peek(0x3B30)

    @property
    def state(self) -> JobState:
        return fold(self.events)

    async def _do(self, act: str) -> None:
        """The work of this order: the module is taken out and a new one fitted."""
        if act != "do-work":
            await self._inner(act)
            return
        self.car.act("key", position="off")
        await self.scene.clock.sleep_until(self.scene.clock.now() + 12.0)
        self.car.act("replace_body")
        self.car.act("charger", on=True)

    async def work(self, answers: dict[str, list[str]], hook: Callable[[Question], Any]) -> None:
        scene = self.scene
        person = HookedPerson(scene.person(answers), hook)
        desk = Desk(
            scene.link, scene.clock, person, load_book(BOOK), ALDRA, WORKSHOP, TECHNICIAN, key=Keys(),
            gate_timeout_s=60.0,
        )  # fmt: skip
        order = read_order(
            {**demo_order(self.car.vin), "work_items": ["body-module"], "order": "new body module"}, "T-1"
        )
        with open_journal(scene.folder) as journals:
            journal = journals.create("T-1", source=scene.link, clock=scene.clock)
            await work_job(desk, journal, order, WritesPolicy())
            self.events = journal.events()

    def writes(self) -> list[str]:
        return [p for p in (e.intent.payload for e in self.state.effects.values()) if p.startswith("2E3B30")]


def play(folder: Path, answers: dict[str, list[str]] | None = None, hook: Any = lambda _q: None) -> Bay:
    async def main(clock: LoopClock) -> Bay:
        bay = Bay(clock, folder)
        try:
            await bay.work(answers or {}, hook)
        finally:
            bay.car.detach()
        return bay

    return run_virtual(main)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Bay:
    return play(tmp_path_factory.mktemp("coding-job"))


def test_from_the_order_to_a_proof_with_one_write(done: Bay) -> None:
    needed = {need.function: need.procedure for need in done.state.needs}
    assert needed[FUNCTION] == "body-coding-aldra"
    (run,) = (r for r in done.state.runs.values() if r.started.function == FUNCTION)
    assert run.end is RunEnd.COMPLETED
    assert run.verdict is Verdict.PASS
    assert done.held == done.old
    assert done.writes() == ["2E3B30" + done.old.hex().upper()]
    assert not done.state.unsettled
    assert done.state.closed is not None


def test_what_the_pictures_say_of_the_coding(done: Bay) -> None:
    """Coded, blank, coded again: the change between found and left was meant."""
    codings = {
        kind: next(i.raw for i in module.coding if i.key == "coding")
        for kind, picture in done.state.pictures.items()
        if (module := picture.module("body")) is not None
    }
    old = done.old.hex().upper()
    assert codings == {
        PictureKind.AS_RECEIVED: old,
        PictureKind.AS_FOUND: "FF" * 20,
        PictureKind.AS_LEFT: old,
    }
    found = done.state.differences[PictureKind.AS_FOUND, PictureKind.AS_LEFT]
    (coding,) = (d for d in found if d.module == "body" and d.key == "coding")
    assert coding.intended


def test_what_the_book_has_no_procedure_for_stays_open_and_the_car_is_not_released(done: Bay) -> None:
    assert "fitted-module-list" in done.state.open_items
    assert done.state.closed is not None
    assert not done.state.closed.released


def test_the_report_tells_the_coding_the_ticks_and_the_access_without_a_key(done: Bay) -> None:
    text = repr(view(done.events, "00", generated="2031-04-17T12:00:00Z"))
    assert "module coding" in text
    assert done.old.hex().upper() in text.replace(" ", "").upper()
    keys = [e.intent.payload for e in done.state.effects.values() if e.intent.payload.startswith("2702")]
    assert all(len(p) == 4 for p in keys)


@pytest.mark.full
def test_an_option_that_does_not_work_ends_the_run_and_the_old_picture_comes_back_as_a_run_of_its_own(
    tmp_path: Path,
) -> None:
    """The sunroof was coded by hand and does not run: the cause is named, the picture as received is written back."""
    layout = own_layout("body-aldra")
    restored: list[str] = []

    def hook(question: Question) -> Any:
        if question.message.id == "coding.try" and "Sunroof" in question.message.text and not restored:
            return "does not work"
        if question.message.id == "coding.what":
            restored.append(next(c for c in question.choices if c.startswith("restore as-received")))
            return restored[-1]
        return None

    answers = {"rest on one witness": [CHANGE, RIGHT], "option=value": ["sunroof=yes"] * 2}
    bay = play(tmp_path, answers, hook)
    first, second = (r for r in bay.state.runs.values() if r.started.function == FUNCTION)
    assert first.end is RunEnd.STOPPED
    assert "option coded that is not fitted" in "; ".join(c for named in first.causes for c in named.causes)
    assert restored
    assert second.verdict is Verdict.PASS
    assert len(bay.writes()) == 2
    assert decode(layout, bay.held).value("sunroof") == decode(layout, bay.old).value("sunroof")
    assert bay.held == bay.old
    why = [e.intent.why for e in bay.state.effects.values() if e.intent.payload.startswith("2E")]
    assert "looked over" in why[1]


@pytest.mark.full
def test_a_coding_that_stands_is_taken_up_again_when_asked_with_its_reason(tmp_path: Path) -> None:
    """One option is changed because the customer asks for it, and changed back: three writes, each with its reason."""
    kept: list[str] = []

    def hook(question: Question) -> Any:
        if question.message.id == "run.keep":
            kept.append(ONCE_MORE if len(kept) < 2 else KEEP)
            return kept[-1]
        if question.message.id == "coding.what" and len(kept) == 2:
            return next(c for c in question.choices if c.startswith("restore as-received"))
        return None

    answers = {
        "rest on one witness": [RIGHT, CHANGE, RIGHT],
        "option=value": ["sunroof=yes"] * 2,
        "Type why": ["sunroof fitted later", "customer wants it as it was"],
    }
    bay = play(tmp_path, answers, hook)
    runs = [r for r in bay.state.runs.values() if r.started.function == FUNCTION]
    assert [r.end for r in runs] == [RunEnd.COMPLETED] * 3
    assert bay.held == bay.old
    assert len(bay.writes()) == 3
    assert len(set(bay.writes())) == 2
    third = [e.intent for e in bay.state.effects.values() if e.intent.payload.startswith("2E3B30")][-1]
    assert "customer wants it as it was" in third.why
    assert third.repeat_of
    assert any(isinstance(e.body, b.ModulePictureTaken) and e.body.when == "before" for e in bay.events)
