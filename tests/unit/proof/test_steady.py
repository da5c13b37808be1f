"""Mean and spread: the value, what u is made of, and when there is no number."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import Reason
from asleft.proof.correlated import autocorrelation, autocorrelations, mean_uncertainty
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.steady import mean, spread

Q = 0.25


def series(values, step_s: float = 0.2, q: float = Q, **more) -> Series:
    values = tuple(float(v) for v in values)
    times = more.pop("times_s", None) or tuple(step_s * i for i in range(len(values)))
    return Series("engine-speed", "rpm", times, values, q, **more)


def noise(n: int, seed: int = 1, rho: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = np.zeros(n + 50)
    for i in range(1, n + 50):
        x[i] = rho * x[i - 1] + math.sqrt(1 - rho * rho) * rng.standard_normal()
    return x[50:]


def number(found: Estimate | NoEstimate) -> Estimate:
    assert isinstance(found, Estimate), found
    return found


class TestMean:
    def test_white_noise_by_hand(self) -> None:
        values = 750 + 10 * noise(200)
        found = number(mean(series(values, q=0.0)))
        naive = float(np.std(values, ddof=1)) / math.sqrt(200)
        assert found.value == pytest.approx(float(values.mean()))
        assert naive * 0.98 <= found.u <= naive * 1.8
        assert found.n == 200

    def test_the_parts_add_up(self) -> None:
        found = number(mean(series(750 + noise(50), accuracy=2.0)))
        assert found.parts["resolution"] == pytest.approx(Q / math.sqrt(12))
        assert found.parts["accuracy"] == pytest.approx(2.0 / math.sqrt(3))
        assert found.u**2 == pytest.approx(sum(p * p for p in found.parts.values()))
        assert found.expanded == 2 * found.u

    def test_a_constant_series_still_has_its_resolution(self) -> None:
        found = number(mean(series([750.0] * 20)))
        assert (found.value, found.u) == (750.0, pytest.approx(Q / math.sqrt(12)))

    def test_correlation_counts(self) -> None:
        found = number(mean(series(750 + 10 * noise(2000, rho=0.8))))
        assert found.n_eff == pytest.approx(2000 / 9, rel=0.5)  # (1+0.8)/(1-0.8) = 9

    def test_samples_said_twice_count_once(self) -> None:
        once = 750 + 10 * noise(100)
        twice = np.repeat(once, 4)
        assert number(mean(series(twice))).u >= number(mean(series(once))).u * 0.95

    def test_a_rhythm_does_not_hide_what_many_periods_show(self) -> None:
        swing = 750 + 20 * np.sin(2 * np.pi * np.arange(400) / 12.0) + noise(400)
        found = number(mean(series(swing)))
        assert abs(found.value - 750.0) < 1.0
        assert found.u < 2.0


class TestSpread:
    def test_value_and_u_of_white_noise(self) -> None:
        found = number(spread(series(750 + 10 * noise(400), q=0.0)))
        assert found.value == pytest.approx(10.0, abs=2 * found.u)
        assert 10 / math.sqrt(2 * 399) * 0.7 < found.u < 10 / math.sqrt(2 * 399) * 3.0

    def test_what_rounding_may_have_added_is_part_of_u(self) -> None:
        found = number(spread(series(np.round(noise(100) * 0.3), q=1.0)))
        assert found.parts["resolution"] > 0.05

    def test_a_constant_series_may_have_moved_within_a_step(self) -> None:
        found = number(spread(series([750.0] * 20)))
        assert (found.value, found.u) == (0.0, pytest.approx(Q / math.sqrt(12)))


BAD = {
    "empty": (series([]), Reason.UNSUPPORTED, "no reading of engine speed came"),
    "two samples": (series([1.0, 2.0]), Reason.TOO_FEW, "2 readings of engine speed, at least 10 are needed"),
    "not a number": (
        series([750.0] * 19 + [math.nan]),
        Reason.UNTRUSTED,
        "1 of 20 readings of engine speed are not numbers",
    ),
    "infinite": (series([math.inf] * 20), Reason.UNTRUSTED, "20 of 20 readings of engine speed are not numbers"),
    "backwards": (
        series([750.0] * 20, times_s=(*range(10), 5.0, *range(10, 19))),
        Reason.UNTRUSTED,
        "times of engine speed run backwards at reading 11",
    ),
    "repeated times": (
        series([750.0] * 20, times_s=tuple(float(i // 2) for i in range(20))),
        Reason.RESOLUTION,
        "10 readings of engine speed repeat a time, and no resolution of time is declared",
    ),
    "gaps": (series(noise(20), gaps=10), Reason.TOO_FEW, "10 of 30 expected readings of engine speed did not come"),
    "bad resolution": (
        series(noise(20), q=math.nan),
        Reason.UNTRUSTED,
        "resolution or accuracy of engine speed is not a number",
    ),
}


@pytest.mark.parametrize("estimator", [mean, spread])
@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_a_reasoned_no(estimator, case: str) -> None:
    bad, reason, words = BAD[case]
    found = estimator(bad)
    assert isinstance(found, NoEstimate)
    assert found.reasons == (reason,)
    assert found.message.text == words


def test_a_noisy_signal_that_stands_still_is_not_alive() -> None:
    values = [*(750 + noise(50)), *[750.0] * 55, *(750 + noise(50))]
    found = mean(series(values), noisy=True)
    assert isinstance(found, NoEstimate)
    assert found.reasons == (Reason.FROZEN,)
    assert found.message.text == "engine speed stood at 750 rpm to the bit for 11 s: out of date or frozen"
    assert isinstance(mean(series(values)), Estimate)


def test_whole_second_times_may_repeat_when_declared() -> None:
    found = mean(series(750 + noise(40), times_s=tuple(float(i // 4) for i in range(40)), u_time_s=1.0))
    assert isinstance(found, Estimate)


def test_autocorrelations_by_transform_equal_the_direct_sum() -> None:
    x = noise(200, rho=0.5)
    fast = autocorrelations(x, 20)
    assert fast == pytest.approx([autocorrelation(x, k) if k else 1.0 for k in range(21)], abs=1e-12)


def test_the_mean_of_a_constant_has_no_spread() -> None:
    assert mean_uncertainty(np.ones(20)) == (0.0, 20.0)
