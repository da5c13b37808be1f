"""What holds for every estimate and every verdict."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Verdict
from asleft.proof.decide import decide, probability_inside
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.rest import rest_range
from asleft.proof.steady import mean, spread
from asleft.proof.tracking import Tracking, tracking

RANK = {Verdict.PASS: 0, Verdict.CANNOT_TELL: 1, Verdict.FAIL: 2}
seeds = st.integers(0, 10_000)
sizes = st.floats(0.1, 100.0)
shifts = st.floats(-1e4, 1e4)


def noise(seed: int, n: int = 60, rho: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(n)
    for i in range(1, n):
        x[i] = rho * x[i - 1] + math.sqrt(1 - rho * rho) * x[i]
    return x


def made(values: np.ndarray, q: float = 0.0, step_s: float = 0.5) -> Series:
    return Series("s", "1", tuple(step_s * i for i in range(len(values))), tuple(map(float, values)), q)


def number(found: Estimate | NoEstimate) -> Estimate:
    assert isinstance(found, Estimate), found
    return found


@given(seeds, shifts, st.floats(0.0, 0.9))
def test_shifting_shifts_the_mean_and_nothing_else(seed: int, shift: float, rho: float) -> None:
    x = noise(seed, rho=rho)
    a, b = number(mean(made(x))), number(mean(made(x + shift)))
    assert math.isclose(b.value, a.value + shift, abs_tol=1e-8)
    assert math.isclose(a.u, b.u, rel_tol=1e-5)
    assert math.isclose(number(spread(made(x))).value, number(spread(made(x + shift))).value, rel_tol=1e-5)


@given(seeds, sizes, st.floats(0.0, 0.9))
def test_scaling_scales_value_and_u(seed: int, size: float, rho: float) -> None:
    x = noise(seed, rho=rho)
    for estimator in (mean, spread):
        a, b = number(estimator(made(x, 0.1))), number(estimator(made(x * size, 0.1 * size)))
        assert math.isclose(b.value, a.value * size, rel_tol=1e-6, abs_tol=1e-9)
        assert math.isclose(b.u, a.u * size, rel_tol=1e-6)


@given(seeds, st.floats(1.0, 10.0), st.floats(1.0, 10.0))
def test_more_noise_is_never_more_certain(seed: int, less: float, more: float) -> None:
    less, more = sorted((less, more))
    x = noise(seed)
    assert number(mean(made(less * x))).u <= number(mean(made(more * x))).u * (1 + 1e-9)
    assert number(spread(made(less * x))).u <= number(spread(made(more * x))).u * (1 + 1e-9)


@given(seeds, st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_coarser_or_less_accurate_is_never_more_certain(seed: int, q: float, coarser: float, accuracy: float) -> None:
    x = noise(seed)
    fine = Series("s", "1", tuple(map(float, range(60))), tuple(map(float, x)), q)
    coarse = Series("s", "1", fine.times_s, fine.values, q + coarser, accuracy)
    assert number(mean(fine)).u <= number(mean(coarse)).u + 1e-12


@given(seeds, st.integers(2, 6))
def test_saying_each_sample_again_brings_no_certainty(seed: int, times: int) -> None:
    x = noise(seed, 80)
    said_once = float(np.std(x)) / math.sqrt(len(x))
    assert number(mean(made(np.repeat(x, times)))).u >= said_once * 0.85


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0.01, 2.0), st.floats(-2, 2), st.sampled_from(LimitOwner))
def test_the_verdict_is_monotone_in_the_value(a: float, b: float, u: float, limit: float, owner: LimitOwner) -> None:
    assume(abs(limit) > 0.1)
    a, b = sorted((a, b))
    held = Limits(None, limit, "1", owner)
    first, second = (decide("c", "c", Estimate(x, u, "1", 9, 9.0, (0, 1)), held).verdict for x in (a, b))
    assert RANK[first] <= RANK[second]


@given(st.floats(-5, 5), st.floats(0.001, 2.0), st.floats(-2, 2), st.floats(0.1, 3))
def test_pass_never_beyond_the_guard_band(x: float, u: float, low: float, width: float) -> None:
    held = Limits(low, low + width, "1", LimitOwner.OURS)
    j = decide("c", "c", Estimate(x, u, "1", 9, 9.0, (0, 1)), held)
    if j.verdict is Verdict.PASS:
        assert low + 2 * u <= x <= low + width - 2 * u
        assert j.risk is not None
        assert j.risk <= 0.0456
    if j.verdict is Verdict.FAIL:
        assert x <= low - 2 * u or x >= low + width + 2 * u
        assert j.risk is not None
        assert j.risk <= 0.0228


@given(st.floats(-5, 5), st.floats(0.001, 2.0), st.floats(0.1, 3), st.floats(1.0, 5.0))
def test_more_uncertainty_never_turns_one_verdict_into_the_other(x: float, u: float, width: float, more: float) -> None:
    held = Limits(-width, width, "1", LimitOwner.OURS)
    first, second = (decide("c", "c", Estimate(x, v, "1", 9, 9.0, (0, 1)), held).verdict for v in (u, u * more))
    assert second in {first, Verdict.CANNOT_TELL}


@given(st.floats(-5, 5), st.floats(0.001, 2.0), st.floats(-3, 3), st.floats(0, 3), st.floats(0, 2))
def test_wider_limits_are_never_less_probable(x: float, u: float, low: float, width: float, wider: float) -> None:
    narrow = probability_inside(x, u, Limits(low, low + width, "1", LimitOwner.OURS))
    wide = probability_inside(x, u, Limits(low - wider, low + width + wider, "1", LimitOwner.OURS))
    assert 0.0 <= narrow <= wide + 1e-12 <= 1.0 + 1e-12


@given(st.lists(st.integers(20, 60), min_size=2, max_size=8), st.integers(-10, 10))
def test_the_rest_range_does_not_depend_on_order_or_offset(counts: list[int], offset: int) -> None:
    q = 100.0 / 255.0

    def rests(numbers: list[int]) -> list[Series]:
        return [Series("t", "%", (0.0, 1.0, 2.0), (c * q,) * 3, q) for c in numbers]

    a = number(rest_range(rests(counts)))
    b = number(rest_range(rests([c + offset for c in reversed(counts)])))
    assert math.isclose(a.value, b.value, abs_tol=1e-9)
    assert a.u == b.u
    assert a.value >= 0.0


@given(seeds, st.floats(0.5, 1.5), st.floats(-10, 10))
def test_the_slope_does_not_depend_on_the_offset(seed: int, slope: float, offset: float) -> None:
    t = 0.2 * np.arange(100)
    x = 30 + 25 * np.sin(2 * np.pi * t / 20)
    y = slope * x + 0.3 * noise(seed, 100)
    c = Series("c", "%", tuple(t), tuple(x), 0.0)
    found = [tracking(Series("a", "%", tuple(t), tuple(v), 0.0), c) for v in (y, y + offset)]
    a, b = (f for f in found if isinstance(f, Tracking))
    assert math.isclose(a.slope.value, b.slope.value, abs_tol=1e-9)
    assert math.isclose(a.slope.u, b.slope.u, rel_tol=1e-6)
