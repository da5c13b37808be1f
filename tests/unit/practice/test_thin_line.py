"""The thin line, whole, on the petrol bench car in virtual time: what passes, what fails, and what is never sent."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event.body import CodesCleared, ConditionsSeen, IntentWritten, QuestionAnswered, RunStarted
from asleft.model.effect import Settlement
from asleft.model.errors import Code
from asleft.model.module import PictureKind
from asleft.model.origin import Origin
from asleft.model.question import QuestionKind
from asleft.model.verdict import RunEnd, StepOutcome, Verdict
from asleft.model.work import ScreenClass
from kit.bench_job import Outcome, play
from kit.chosen import few

LEARN = "throttle-stop-learn-1"
START = "31 01 5A 31"
IDLE = "idle-relearn-1"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    """One complete job, shared by the tests that only look at it."""
    return play(tmp_path_factory.mktemp("whole"), idle=True, answers={"how is it done": ["by hand, coached"]})


def test_it_goes_from_open_order_to_closed_record(whole: Outcome) -> None:
    state = whole.state
    assert whole.error is None
    assert set(state.pictures) == set(PictureKind)
    assert state.closed is not None
    assert state.runs[LEARN].verdict is Verdict.PASS
    assert state.runs["planned-clear-1"].end is RunEnd.COMPLETED
    assert not state.unsettled


def test_the_origin_is_the_benchs_own_on_every_event(whole: Outcome) -> None:
    assert {e.origin for e in whole.events} == {Origin.BENCH}


def test_everything_required_was_proved_and_the_car_is_released_but_for_the_cold_start(whole: Outcome) -> None:
    """The idle relearn has a procedure now; what only tomorrow morning shows stays open on the record."""
    state = whole.state
    assert state.runs[IDLE].verdict is Verdict.PASS
    assert set(state.open_items) == {"idle-relearn: cold start next morning"}
    assert state.closed is not None
    assert state.closed.released


def test_the_code_is_expected_when_it_came_with_the_work(whole: Outcome) -> None:
    codes = [c for c in whole.state.screened["throttle-stop-learn"] if c.code.code == "P2176"]
    assert codes
    assert {c.screen for c in codes} == {ScreenClass.EXPECTED}
    assert {c.seen_in for c in codes} == {(PictureKind.AS_FOUND,)}


def test_the_learned_value_changed_and_the_code_is_gone(whole: Outcome) -> None:
    found = whole.state.differences[(PictureKind.AS_FOUND, PictureKind.AS_LEFT)]
    keys = {d.key for d in found}
    assert "learned-lower-stop" in keys
    assert any(k.startswith("code:") and "P2176" in k for k in keys)


def test_every_effect_at_the_link_has_its_intent_before_it(whole: Outcome) -> None:
    """What the bus saw is what the record intended: each once."""
    assert whole.sent(START) == 1
    assert whole.sent("14 FF FF FF") == whole.intents.count("14FFFFFF") == 5
    effects = {e.settlement for e in whole.state.effects.values()}
    assert effects == {Settlement.DONE}


def test_conditions_are_measured_before_the_effect(whole: Outcome) -> None:
    """The gate stood open, freshly measured, before the intent was written."""
    kinds = [e.body for e in whole.events]
    intent = next(i for i, b in enumerate(kinds) if isinstance(b, IntentWritten))
    seen = [b for b in kinds[:intent] if isinstance(b, ConditionsSeen)]
    assert seen[-1].gate == "open"
    assert {r.evidence.value for r in seen[-1].results} == {"measured", "declared"}


def test_all_modules_end_in_their_default_session(whole: Outcome) -> None:
    assert set(whole.sessions.values()) == {1}


def test_cautions_stand_before_the_first_step(whole: Outcome) -> None:
    started = next(i for i, e in enumerate(whole.events) if isinstance(e.body, RunStarted))
    asked = whole.state.questions[f"{LEARN}.q1"][0]
    assert any("fingers" in c.text.casefold() for c in asked.cautions)
    answered = next(
        i
        for i, e in enumerate(whole.events)
        if isinstance(e.body, QuestionAnswered) and e.body.answer.question == asked.id
    )
    assert started < answered


def test_the_text_of_the_procedure_that_ran_is_in_the_record(whole: Outcome) -> None:
    started = whole.state.runs[LEARN].started
    assert "lower-stop" in started.text
    assert len(started.digest) == 64


@pytest.mark.full
def test_the_same_seed_gives_the_same_bytes(tmp_path: Path, whole: Outcome) -> None:
    from asleft.event.envelope import stored_bytes

    again = play(tmp_path, idle=True, answers={"how is it done": ["by hand, coached"]})
    assert [stored_bytes(e) for e in again.events] == [stored_bytes(e) for e in whole.events]


@pytest.mark.parametrize("seed", few([2, 3], [2]))
def test_another_seed_gives_other_numbers(tmp_path: Path, whole: Outcome, seed: int) -> None:
    other = play(tmp_path, seed=seed)
    assert other.state.runs[LEARN].verdict is Verdict.PASS
    values = [[j.value for j in o.state.runs[LEARN].judgements] for o in (whole, other)]
    assert values[0] != values[1]
    assert other.state.vehicle != whole.state.vehicle


@pytest.mark.parametrize("seed", few([1, 2, 3], [1]))
def test_an_uncleaned_bore_fails_although_the_module_says_stored(tmp_path: Path, seed: int) -> None:
    """The proof is by consequence: the module stores, the rest reading wanders, the verdict is FAIL."""
    dirty = play(tmp_path, seed=seed, cleaned=0.0)
    run = dirty.state.runs[LEARN]
    assert dirty.state.effects[f"{LEARN}.i1"].settlement is Settlement.DONE
    verdicts = {j.criterion: j.verdict for j in run.judgements}
    assert verdicts["rest-range"] is Verdict.FAIL
    assert run.verdict is Verdict.FAIL
    assert dirty.state.closed is not None
    assert not dirty.state.closed.released


def test_a_typed_identifier_is_shown_back_with_its_bytes(tmp_path: Path) -> None:
    answers = {
        "Routine identifier for this module": ["type it from the manual"],
        "Type the routine identifier": ["5A3", "0x5A31"],
        "Type it again": ["0x5A31"],
    }
    answers["Type the routine identifier"] = ["5A3"]
    typed = play(tmp_path, answers=answers)
    run = typed.state.runs[LEARN]
    assert run.identifier is not None
    assert "typed from the manual" in run.identifier.how
    assert run.identifier.payload == "31015A31"
    assert run.verdict is Verdict.PASS
    texts = [q.message.text for q, _ in typed.state.questions.values()]
    assert any("3 digits; two bytes are four" in t for t in texts), "the impossible one was refused with its reason"


def test_a_wrong_identifier_is_refused_by_the_module_and_said_plainly(tmp_path: Path) -> None:
    """An identifier that the module does not know: 7F 31 31; nothing changed, nothing repeated."""
    answers = {
        "Routine identifier for this module": ["type it from the manual"],
        "Type the routine identifier": ["0x1234"],
        "ended after 1 attempt": ["leave it open"],
    }
    refused = play(tmp_path, answers=answers)
    run = refused.state.runs[LEARN]
    assert run.end is RunEnd.REFUSED
    effect = refused.state.effects[f"{LEARN}.i1"]
    assert effect.settlement is Settlement.NOT_DONE
    assert effect.answer is not None
    assert effect.answer.refusal == 0x31
    assert refused.sent("31 01 12 34") == 1
    assert refused.state.closed is not None


def test_engine_running_keeps_the_gate_closed(tmp_path: Path) -> None:
    """The condition that fails is named with its value; nothing that changes the car is sent."""
    seen: list[str] = []

    def start_engine(scene, question) -> object:
        if "Read before you begin" in question.message.text:
            scene.car.act("key", position="start")
        if "ended after" in question.message.text:
            seen.append(question.message.text)
            scene.car.act("key", position="on")
            return "leave it open"
        return None

    closed = play(tmp_path, hook=start_engine, gate_timeout_s=60.0)
    assert closed.state.runs[LEARN].end is RunEnd.REFUSED
    assert closed.sent(START) == 0
    assert "rpm" in seen[0]


def test_the_person_says_stop_before_the_effect(tmp_path: Path) -> None:
    def stop(_scene, question) -> object:
        return "stop" if question.kind is QuestionKind.EFFECT else None

    stopped = play(tmp_path, hook=stop)
    assert stopped.error is not None
    assert stopped.error.code is Code.STOPPED_BY_PERSON
    assert stopped.state.stopped is not None
    assert stopped.sent(START) == 0
    assert set(stopped.sessions.values()) == {1}
    assert stopped.state.runs[LEARN].end is RunEnd.STOPPED


def test_the_pedal_is_pressed_while_the_plate_is_learned(tmp_path: Path) -> None:
    """An interlock breaks: the routine is stopped by its own intent, and the run says which condition was lost."""

    def press(scene, question) -> object:
        if question.kind is QuestionKind.EFFECT and "Start now" in question.message.text:
            scene.clock.call_at(scene.clock.now() + 3.5, lambda: scene.car.act("pedal", percent=40.0))
        return "leave it open" if "ended after" in question.message.text else None

    broken = play(tmp_path, hook=press)
    run = broken.state.runs[LEARN]
    assert run.end in (RunEnd.STOPPED, RunEnd.REFUSED)
    assert broken.state.effects[f"{LEARN}.i1"].settlement is Settlement.NOT_DONE
    assert broken.sent(START) == 1
    assert any(s.outcome in (StepOutcome.STOPPED, StepOutcome.REFUSED) for s in run.steps)


def test_the_clear_removes_what_the_picture_keeps(whole: Outcome) -> None:
    (cleared,) = [e.body for e in whole.events if isinstance(e.body, CodesCleared)]
    assert [c.code for c in cleared.removed] == ["P2176"]
    assert not cleared.remaining
    assert {c.code for c in whole.state.pictures[PictureKind.AS_FOUND].codes} == {"P2176"}
