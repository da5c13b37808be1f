"""Decision rules: which verdict, which reason, which risk, and what the person reads."""

from __future__ import annotations

import math

import pytest

from asleft.model.message import say
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict
from asleft.proof.decide import decide, half_width, probability_inside
from asleft.proof.estimate import Estimate, NoEstimate

PASS, FAIL, CANNOT_TELL = Verdict.PASS, Verdict.FAIL, Verdict.CANNOT_TELL


def limits(low: float | None, high: float | None, owner: LimitOwner = LimitOwner.OURS, unit: str = "%") -> Limits:
    return Limits(low, high, unit, owner)


def judged(value: float, u: float, held: Limits, *, n_eff: float = 50.0, spread: float = 0.0, **more) -> Judgement:
    estimate = Estimate(value, u, held.unit, 100, n_eff, (0.0, 30.0), {"spread": spread})
    return decide("c", "Rest range", estimate, held, **more)


class TestOurs:
    @pytest.mark.parametrize(
        ("value", "verdict"),
        [
            (0.8, PASS),
            (1.0, PASS),
            (1.01, CANNOT_TELL),
            (1.2, CANNOT_TELL),
            (1.39, CANNOT_TELL),
            (1.4, FAIL),
            (5.0, FAIL),
        ],
    )
    def test_upper_limit_with_guard_band(self, value: float, verdict: Verdict) -> None:
        j = judged(value, 0.1, limits(None, 1.2))
        assert (j.verdict, j.rule) == (verdict, Rule.GUARDED)

    @pytest.mark.parametrize(
        ("value", "verdict"),
        [(0.90, FAIL), (0.94, CANNOT_TELL), (0.97, PASS), (1.0, PASS), (1.03, PASS), (1.06, CANNOT_TELL), (1.07, FAIL)],
    )
    def test_two_limits(self, value: float, verdict: Verdict) -> None:
        assert judged(value, 0.01, limits(0.95, 1.05)).verdict is verdict

    def test_lower_limit(self) -> None:
        assert judged(13.1, 0.1, limits(12.8, None)).verdict is PASS
        assert judged(12.9, 0.1, limits(12.8, None)).verdict is CANNOT_TELL
        assert judged(12.5, 0.1, limits(12.8, None)).verdict is FAIL

    def test_borderline_says_so_and_what_would_settle_it(self) -> None:
        j = judged(1.15, 0.1, limits(None, 1.2), spread=0.1)
        assert j.reasons == (Reason.GUARD_BAND,)
        assert j.sentence is not None
        assert (
            j.sentence.text
            == "Rest range: 1.15 ± 0.20 %, so close to our limit (at most 1.2 %) that it may be either side."
        )
        assert j.settles is not None
        assert j.settles.text == "Record about 4 times as long, or use a finer signal."

    def test_an_uncertainty_wider_than_the_limits_decides_nothing(self) -> None:
        assert judged(1.0, 0.06, limits(0.95, 1.05)).reasons == (Reason.RESOLUTION,)
        assert judged(1.0, 0.06, limits(0.95, 1.05), spread=0.06, n_eff=4.0).reasons == (Reason.TOO_FEW,)

    def test_yet_what_is_far_outside_fails_all_the_same(self) -> None:
        assert judged(3.0, 0.06, limits(0.95, 1.05)).verdict is FAIL


class TestPrinted:
    """TRADE example: yaw limit 0.2 °/s as printed, data in steps of 0.1, u 0.058 (common practice, no source)."""

    held = limits(-0.2, 0.2, LimitOwner.PRINTED, "°/s")

    @pytest.mark.parametrize(("value", "verdict"), [(0.0, PASS), (0.1, PASS), (0.2, PASS), (0.3, FAIL), (-0.3, FAIL)])
    def test_as_printed(self, value: float, verdict: Verdict) -> None:
        j = judged(value, 0.058, self.held, resolution=0.1)
        assert (j.verdict, j.rule) == (verdict, Rule.SIMPLE)
        assert j.u == 0.058

    def test_what_cannot_resolve_the_limit_cannot_tell(self) -> None:
        assert judged(0.0, 0.058, self.held, resolution=0.5).reasons == (Reason.RESOLUTION,)
        assert judged(0.0, 0.11, self.held).reasons == (Reason.RESOLUTION,)

    def test_the_sentence_shows_the_uncertainty(self) -> None:
        j = judged(0.2, 0.058, self.held)
        assert j.sentence is not None
        assert j.sentence.text == "Rest range: 0.20 ± 0.12 °/s, within the manual's limit as printed (−0.2 to 0.2 °/s)."


class TestRisk:
    def test_risk_of_a_pass_is_the_probability_of_lying_outside(self) -> None:
        j = judged(1.0, 0.1, limits(None, 1.2))
        assert j.risk == pytest.approx(0.5 * math.erfc(2 / math.sqrt(2)))  # 2 u away: 2.3 %

    def test_risk_of_a_fail_is_the_probability_of_lying_inside(self) -> None:
        assert judged(1.4, 0.1, limits(None, 1.2)).risk == pytest.approx(0.0227501, abs=1e-6)

    def test_none_for_cannot_tell(self) -> None:
        assert judged(1.2, 0.1, limits(None, 1.2)).risk is None

    def test_without_uncertainty_it_is_in_or_out(self) -> None:
        assert probability_inside(1.0, 0.0, limits(None, 1.2)) == 1.0
        assert probability_inside(1.3, 0.0, limits(None, 1.2)) == 0.0


def test_no_number_gives_its_reason_and_no_value() -> None:
    none = NoEstimate((Reason.TOO_FEW,), say("x", "only 3 readings came"), 3)
    j = decide("c", "Rest range", none, limits(None, 1.2))
    assert (j.verdict, j.value, j.u, j.risk, j.n) == (CANNOT_TELL, None, None, None, 3)
    assert j.sentence is not None
    assert j.sentence.text == "Rest range: cannot tell whether it is at most 1.2 %, because only 3 readings came."
    assert j.settles is not None


def test_without_limits_it_is_reported_not_judged() -> None:
    j = judged(11.0, 0.3, limits(None, None, unit="mm²"))
    assert (j.rule, j.reasons) == (Rule.REPORT_ONLY, (Reason.NO_TARGET,))


@pytest.mark.parametrize(("value", "u"), [(math.nan, 0.1), (1.0, math.nan), (1.0, math.inf), (math.inf, 0.1)])
def test_what_is_no_number_is_never_decided(value: float, u: float) -> None:
    for owner in LimitOwner:
        assert judged(value, u, limits(None, 1.2, owner)).verdict is CANNOT_TELL


def test_half_width() -> None:
    assert half_width(limits(0.95, 1.05)) == pytest.approx(0.05)
    assert half_width(limits(None, 1.2)) == 1.2
    assert half_width(limits(None, 0.0)) == math.inf
