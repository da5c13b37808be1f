"""A declared retest: one, both attempts kept, and no good number by trying again."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.event import body as b
from asleft.event.envelope import FORMAT, NO_PREVIOUS, Event
from asleft.event.fold import fold
from asleft.model.message import say
from asleft.model.origin import ClockKind, Origin, WallTrust
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, RunEnd, Verdict, overall
from asleft.proof.attempts import Attempts, may_retest, normalized_error, settled, words_of
from asleft.proof.decide import decide
from asleft.proof.estimate import Estimate

LIMITS = Limits(None, 1.2, "%", LimitOwner.OURS)


def judged(value: float, u: float = 0.05, name: str = "rest") -> Judgement:
    return decide(name, f"Range of {name}", Estimate(value, u, "%", 50, 20.0, (0.0, 10.0)), LIMITS)


FAILS, PASSES, BORDERLINE = judged(1.5), judged(0.4), judged(1.25)


class TestMay:
    def test_one_and_no_more(self) -> None:
        assert may_retest((FAILS,), 1) is None
        assert may_retest((BORDERLINE,), 1) is None
        assert may_retest((FAILS,), 2).id == "retest.once"

    def test_not_after_a_pass_and_not_before_a_verdict(self) -> None:
        assert may_retest((PASSES,), 1).id == "retest.passed"
        assert may_retest((), 1).id == "retest.nothing"


class TestSettled:
    def test_a_pass_near_a_fail_counts(self) -> None:
        first, second = judged(1.26, 0.02), judged(1.10, 0.045)
        assert (first.verdict, second.verdict) == (Verdict.FAIL, Verdict.PASS)
        error = normalized_error(first, second)
        assert error == pytest.approx(0.16 / (2 * (0.02**2 + 0.045**2) ** 0.5))
        assert settled((first,), (second,))[0].verdict is (Verdict.PASS if error <= 1 else Verdict.CANNOT_TELL)

    def test_a_pass_that_contradicts_the_fail_tells_nothing(self) -> None:
        (counted,) = settled((FAILS,), (PASSES,))
        assert (counted.verdict, counted.reasons) == (Verdict.CANNOT_TELL, (Reason.CONTRADICTION,))
        assert counted.value == PASSES.value
        assert "nothing changed" in counted.sentence.text
        assert counted.settles.text == "Find out which of the two is wrong: measure with a third."

    def test_unless_something_was_changed_and_named(self) -> None:
        assert settled((FAILS,), (PASSES,), changed="mat taken out") == (PASSES,)

    def test_a_fail_in_the_retest_fails(self) -> None:
        assert settled((BORDERLINE,), (FAILS,))[0].verdict is Verdict.FAIL
        assert settled((PASSES,), (FAILS,), changed="x")[0].verdict is Verdict.FAIL

    def test_nothing_good_is_carried_over_unmeasured(self) -> None:
        other = judged(0.3, name="slope")
        counted = settled((FAILS, other), (PASSES,), changed="mat")
        assert [j.verdict for j in counted] == [Verdict.PASS, Verdict.CANNOT_TELL]
        assert counted[1].reasons == (Reason.INTERRUPTED,)

    def test_what_is_judged_for_the_first_time_counts(self) -> None:
        code = judged(0.0, name="code")
        assert settled((FAILS,), (PASSES, code), changed="mat")[1] == code

    @given(st.lists(st.sampled_from([FAILS, PASSES, BORDERLINE]), min_size=2, max_size=2), st.text(max_size=3))
    def test_a_whole_never_passes_without_a_pass_in_the_retest(self, two: list[Judgement], changed: str) -> None:
        attempts = Attempts((two[0],), (two[1],), changed)
        if overall(attempts.counted) is Verdict.PASS:
            assert two[1].verdict is Verdict.PASS
        if two[1].verdict is Verdict.FAIL:
            assert overall(attempts.counted) is Verdict.FAIL

    def test_without_numbers_there_is_no_error(self) -> None:
        assert normalized_error(FAILS, msgspec.structs.replace(PASSES, value=None, u=None)) is None
        exact = judged(0.4, 0.0)
        assert normalized_error(exact, exact) == 0.0

    def test_the_sentence_names_both(self) -> None:
        text = words_of((FAILS,), (PASSES,)).text
        assert text == "one declared retest; first attempt FAIL (Range of rest), second PASS"
        assert Attempts((FAILS,)).counted == (FAILS,)


def test_the_fold_keeps_the_first_attempt_whole() -> None:
    def event(n: int, body: b.Body) -> Event:
        return Event(
            format=FORMAT,
            job="J",
            sequence=n,
            actor="asleft",
            wall="2026-01-01T00:00:00Z",
            wall_trust=next(iter(WallTrust)),
            monotonic_s=float(n),
            clock=next(iter(ClockKind)),
            origin=Origin.BENCH,
            previous=NO_PREVIOUS,
            body=body,
        )

    events = [
        event(1, b.RunStarted("run", "f", "p", "n", "wire", "", "0" * 64)),
        event(2, b.CriterionJudged("run", FAILS)),
        event(3, b.RunEnded("run", RunEnd.COMPLETED, Verdict.FAIL, say("x", "FAIL"))),
        event(4, b.RetestDeclared("run", 2, "J. Doe", "a door slammed")),
        event(5, b.CriterionJudged("run", PASSES)),
    ]
    state = fold(events).runs["run"]
    assert (state.judgements, state.end, state.verdict) == ((PASSES,), None, None)
    (first,) = state.earlier
    assert (first.judgements, first.verdict, first.retest.reason) == ((FAILS,), Verdict.FAIL, "a door slammed")
    assert fold(events[:3]).runs["run"].verdict is Verdict.FAIL
