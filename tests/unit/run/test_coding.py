"""Coding of a replaced body module by wire: composed, explained, written once, read back, tried, restored; failures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.book.dry_run import dry_run
from asleft.book.procedure import Way
from asleft.book.shelf import load_book
from asleft.coding.decode import decode, unknown_mask
from asleft.coding.layout import OptionKind
from asleft.coding.values import words_of
from asleft.event import body as b
from asleft.job.settings import BOOK
from asleft.model.effect import Settlement
from asleft.model.question import QuestionKind
from asleft.model.verdict import RunEnd
from asleft.record.job_journal import JobJournal
from asleft.run.coding_answers import CHANGE, RIGHT
from asleft.talk.conversations import Conversations
from kit.bench_run import RunOutcome
from kit.coding_bay import BODY, LAYOUT, Bay, Keys, play, sent_to_body, writes


def effect_question(outcome: RunOutcome) -> Any:
    asked = (e.body.question for e in outcome.events if isinstance(e.body, b.QuestionAsked))
    return next(q for q in asked if q.kind is QuestionKind.EFFECT and q.message.id == "write.confirm")


def test_the_layout_has_every_kind_and_its_rules() -> None:
    assert len(LAYOUT.options) >= 24
    assert {o.kind for o in LAYOUT.options} == set(OptionKind)
    assert len(LAYOUT.rules) >= 3


def test_a_replaced_module_gets_the_old_ones_coding_once_explained_and_tried(tmp_path: Path) -> None:
    async def doing(bay: Bay) -> tuple[Bay, RunOutcome]:
        return bay, await bay.run()

    bay, outcome = play(tmp_path, doing)
    assert outcome.done
    assert bay.held == bay.old
    assert writes(outcome) == ["2E3B30" + bay.old.hex().upper()]
    lines = dry_run(load_book(BOOK).procedure(BODY).procedure, Way.BY_WIRE, coding=bay.old)
    shown = [s for line in lines for s in line.sends if s.startswith(("2E", "11"))]
    assert [p for p in sent_to_body(outcome) if p.startswith(("2E", "11"))] == shown
    details = effect_question(outcome).details
    assert "bytes 2E 3B 30 " + bay.old.hex(" ").upper() in details
    assert sum("not coded -> " in d for d in details) == len(LAYOUT.options)
    read = next(e.body for e in outcome.events if isinstance(e.body, b.StepStopped) and e.body.step == "code-found")
    assert "blank, as a new module's" in read.message.text
    tried = [
        e for e in outcome.events if isinstance(e.body, b.QuestionAsked) and e.body.question.message.id == "coding.try"
    ]
    assert len(tried) == sum(bool(o.test) for o in LAYOUT.options)
    assert outcome.sessions["body"] == 1
    assert not outcome.state.unsettled


def test_without_a_picture_all_that_no_neighbour_says_is_typed_twice(tmp_path: Path) -> None:
    async def doing(bay: Bay) -> tuple[Bay, RunOutcome]:
        old = decode(LAYOUT, bay.old)
        answers: dict[str, list[str]] = {}
        for option, one in zip(LAYOUT.options, old.options, strict=True):
            text = str(one.raw) if option.kind is OptionKind.NUMBER else words_of(option, one.value)
            wrong = ["nonsense", text] if option.id == "steering-side" else []
            answers[f"rom paper: {option.name} ("] = [*wrong[:1], text, text]
        return bay, await bay.run(answers)

    bay, outcome = play(tmp_path, doing, read=False)
    assert outcome.done
    mask = unknown_mask(LAYOUT)
    assert [o.raw for o in decode(LAYOUT, bay.held).options] == [o.raw for o in decode(LAYOUT, bay.old).options]
    assert all(h & m == m for h, m in zip(bay.held, mask, strict=True))
    details = effect_question(outcome).details
    assert any(d.startswith("Language") and "cluster" in d for d in details)
    assert any(d.startswith("Doors") and "typed twice" in d for d in details)


def retrofit(bay: Bay) -> dict[str, list[str]]:
    now = decode(LAYOUT, bay.held).value("sunroof")
    text = "sunroof=" + ("no" if now else "yes")
    return {"rest on one witness": [CHANGE, RIGHT], "option=value": [text, text]}


def test_an_option_is_changed_and_the_picture_restored_in_a_run_of_its_own(tmp_path: Path) -> None:
    async def doing(bay: Bay) -> Any:
        first = await bay.run(retrofit(bay))
        changed = bay.held
        restore = f"restore as-received: {bay.old.hex().upper()}"
        refused = await bay.run(
            {"what is to be written": [restore], "Why does it go again": ["  "] * 3, "Why once more": ["  "]}
        )
        between = bay.held
        last = await bay.run({"what is to be written": [restore], "Why once more": ["customer wants it back"]})
        return bay, first, changed, refused, between, last

    bay, first, changed, refused, between, last = play(tmp_path, doing, replace=False)
    assert first.done
    assert sum(" -> " in d for d in effect_question(first).details) == 1
    assert changed != bay.old
    assert refused.run.end is RunEnd.FAILED
    assert between == changed
    assert last.done
    assert bay.held == bay.old
    assert len(writes(last)) == 2


# -- it fails, with the cause in the list ------------------------------------------------------------------------------


def sag(bay: Bay) -> None:
    bay.scene.car.act("charger", on=False)
    bay.scene.car.act("fault", name="bad contact", size=0.2)
    bay.scene.car.act("load", name="lamps", on=True)


def at_effect(bay: Bay, what: Callable[[], Any]) -> Callable[[Any], None]:
    def hook(question: Any) -> None:
        if question.message.id == "write.confirm":
            what()

    return hook


async def _sagging(bay: Bay) -> RunOutcome:
    sag(bay)
    return await bay.run(gate_timeout_s=20.0)


async def _plain(bay: Bay) -> RunOutcome:
    return await bay.run()


async def _rule(bay: Bay) -> RunOutcome:
    pairs = [f"{o}={v}" for o, v in (("rear-fog", "no"), ("trailer-socket", "yes"))]
    return await bay.run({
        "rest on one witness": [CHANGE, CHANGE, RIGHT],
        "option=value": [p for pair in pairs for p in (pair, pair)],
    })  # fmt: skip


async def _access(bay: Bay) -> RunOutcome:
    bay.scene.key = Keys(wrong=True)
    return await bay.run()


async def _key_off(bay: Bay) -> RunOutcome:
    def off() -> None:
        bay.scene.car.act("key", position="off")

    return await bay.run(hook=at_effect(bay, off))


def test_a_supply_that_sags_after_the_consent_writes_nothing(tmp_path: Path) -> None:
    async def doing(bay: Bay) -> tuple[RunOutcome, bytes]:
        return await bay.run(hook=at_effect(bay, lambda: sag(bay))), bay.held

    outcome, held = play(tmp_path, doing)
    assert not outcome.done
    assert held == b"\xff" * 20
    assert "supply" in outcome.causes
    assert len(writes(outcome)) <= 1


@pytest.mark.parametrize(
    ("doing", "part", "cause"),
    [
        pytest.param(_sagging, "", "supply outside its limits", marks=pytest.mark.full),
        (_plain, "BCM-1183-9", "wrong part number"),
        (_rule, "", "options contradict each other"),
        pytest.param(_access, "", "access not open", marks=pytest.mark.full),
        pytest.param(_key_off, "", "key", marks=pytest.mark.full),
    ],
)
def test_it_fails_and_the_cause_is_in_the_list(tmp_path: Path, doing: Any, part: str, cause: str) -> None:
    async def both(bay: Bay) -> tuple[RunOutcome, bytes]:
        return await doing(bay), bay.held

    outcome, held = play(tmp_path, both, part=part)
    assert not outcome.done
    assert cause in outcome.causes
    assert held == b"\xff" * 20
    assert len(writes(outcome)) == 0


# -- it is killed ------------------------------------------------------------------------------------------------------


class Killed(BaseException):
    """The process is gone."""


def kill_at(patch: pytest.MonkeyPatch, boundary: str) -> None:
    append, send = JobJournal.append, Conversations.carry_out
    dead: list[bool] = []
    mine: set[str] = set()

    def appended(self: JobJournal, body: Any, *, actor: str = "") -> Any:
        ours = isinstance(body, b.EffectAnswered | b.EffectSettled) and body.intent in mine
        if ours and boundary == ("answer" if isinstance(body, b.EffectAnswered) else "settle"):
            dead.append(True)
        if dead:
            raise Killed
        return append(self, body, actor=actor)

    async def carried(self: Conversations, receipt: Any, **more: Any) -> bytes:
        ours = receipt.payload.startswith("2E")
        if ours:
            mine.add(receipt.intent)
        if dead or (ours and boundary == "intent"):
            dead.append(True)
            raise Killed
        answer = await send(self, receipt, **more)
        if ours and boundary == "send":
            dead.append(True)
            raise Killed
        return answer

    patch.setattr(JobJournal, "append", appended)
    patch.setattr(Conversations, "carry_out", carried)


@pytest.mark.parametrize(
    "boundary", ["intent", "send", *(pytest.param(b, marks=pytest.mark.full) for b in ("answer", "settle"))]
)
def test_killed_at_each_boundary_it_is_settled_by_reading_and_never_sent_twice(tmp_path: Path, boundary: str) -> None:
    async def doing(bay: Bay) -> RunOutcome:
        with pytest.MonkeyPatch.context() as patch:
            kill_at(patch, boundary)
            with pytest.raises(Killed):
                await bay.run()
        return await bay.run(recover=True, run=False)

    outcome = play(tmp_path, doing)
    written = boundary != "intent"
    assert len(writes(outcome)) == int(written)
    effect = next(e for e in outcome.state.effects.values() if e.intent.payload.startswith("2E"))
    assert effect.settlement is (Settlement.DONE if written else Settlement.PERSON_MUST_DECIDE)
    assert not outcome.state.unsettled
