"""The one declared retest: asked for, declared before it is measured, both attempts kept, no effect sent again."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event import body as b
from asleft.event.fold import RunState, fold
from asleft.model.step import KeyCycle, Observe, RoutineStart, Tell
from asleft.model.verdict import Verdict
from asleft.run.proving import counted_of
from asleft.run.retesting import CHANGED, ONCE_MORE, steps_again
from kit.bench_job import Outcome, play

ASKED = "measured once more, and both"


def dirty(base: Path, *answers: str, **more: object) -> Outcome:
    """A throttle whose bore was not cleaned: the module says stored, the proof says FAIL."""
    return play(base, cleaned=0.0, answers={ASKED: list(answers)}, **more)  # type: ignore[arg-type]


def learn(outcome: Outcome) -> RunState:
    return next(r for r in outcome.state.runs.values() if r.started.function == "throttle-stop-learn")


def sent_effects(outcome: Outcome) -> list[str]:
    """What the record says was sent, in order."""
    return [e.body.intent.payload for e in outcome.events if isinstance(e.body, b.IntentWritten)]


def test_only_what_records_after_the_last_effect_is_done_again() -> None:
    seen = Observe("sweep", "press", ("throttle-absolute",), 5.0, "sweep")
    cycles, said = KeyCycle("cycles", save="rest"), Tell("t", "text")
    assert steps_again((said, seen, RoutineStart("learn"), cycles, said)) == (cycles, said)
    assert steps_again((seen, RoutineStart("learn"), said)) == ()
    assert steps_again(()) == ()


@pytest.fixture(scope="module")
def stands(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return dirty(tmp_path_factory.mktemp("stands"))


@pytest.fixture(scope="module")
def again(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return dirty(tmp_path_factory.mktemp("again"), ONCE_MORE)


@pytest.mark.full
def test_a_verdict_may_stand(stands: Outcome) -> None:
    run = learn(stands)
    assert stands.error is None
    assert run.verdict is Verdict.FAIL
    assert run.earlier == ()


@pytest.mark.full
def test_a_retest_keeps_both_attempts_and_sends_nothing_again(stands: Outcome, again: Outcome) -> None:
    run = learn(again)
    assert again.error is None
    (first,) = run.earlier
    assert (first.retest.reason, first.retest.changed) == ("looked over, nothing found; measured once more", "")
    assert first.samples.keys() == run.samples.keys()
    assert first.samples != run.samples
    assert first.judgements == learn(stands).judgements[: len(first.judgements)]
    assert run.verdict is Verdict.FAIL
    assert len(again.state.effects) == len(stands.state.effects)
    assert sent_effects(again) == sent_effects(stands)


def test_it_is_declared_before_anything_is_recorded_and_asked_for_once(again: Outcome) -> None:
    kinds = [type(e.body) for e in again.events]
    at = kinds.index(b.RetestDeclared)
    assert kinds.count(b.RetestDeclared) == 1
    after = [e.body for e in again.events[at:] if isinstance(e.body, b.SamplesTaken | b.ConditionsSeen)]
    assert isinstance(after[0], b.ConditionsSeen)
    asked = [e for e in again.events if isinstance(e.body, b.QuestionAsked) and ASKED in e.body.question.message.text]
    assert len(asked) == 1


@pytest.mark.full
def test_what_was_changed_in_between_is_written_down(tmp_path: Path) -> None:
    assert learn(dirty(tmp_path, CHANGED)).earlier[0].retest.changed == "intake checked for leaks"


@pytest.mark.full
def test_a_passed_proof_is_not_offered_a_retest(tmp_path: Path) -> None:
    outcome = play(tmp_path)
    texts = [e.body.question.message.text for e in outcome.events if isinstance(e.body, b.QuestionAsked)]
    assert learn(outcome).verdict is Verdict.PASS
    assert not any(ASKED in text for text in texts)


def test_a_retest_that_was_cut_off_does_not_lose_the_first_verdict(again: Outcome) -> None:
    """A crash right after the declaration: nothing was measured again, so nothing can be told, and it says why."""
    at = next(i for i, e in enumerate(again.events) if isinstance(e.body, b.RetestDeclared))
    run = next(iter(fold(again.events[: at + 1]).runs.values()))
    assert run.judgements == ()
    counted = counted_of(run)
    assert [j.criterion for j in counted] == [j.criterion for j in run.earlier[0].judgements]
    assert {j.verdict for j in counted} == {Verdict.CANNOT_TELL}
    whole = learn(again)
    assert counted_of(whole) == tuple(j for j in whole.judgements if j in counted_of(whole))
