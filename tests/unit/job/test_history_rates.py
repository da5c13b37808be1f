"""Shares, durations, control limits: against published numbers and by properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from asleft.figure.control_chart import ControlLimits, control_chart
from asleft.job.history_rates import D2, D3, D4, control_limits, outside, share, times


def test_constants_of_ranges_of_two() -> None:
    """d2, d3, D4 and 3/d2 as printed in tables for n = 2 (ASTM and the NIST/SEMATECH e-Handbook 6.3.2, from memory)."""
    assert (round(D2, 3), round(D3, 3), round(D4, 3), round(3.0 / D2, 2)) == (1.128, 0.853, 3.267, 2.66)
    numbers = np.random.default_rng(4).normal(size=(400_000, 2))
    ranges = np.ptp(numbers, axis=1)
    assert ranges.mean() == pytest.approx(D2, abs=0.005)
    assert ranges.std() == pytest.approx(D3, abs=0.005)


def test_flow_rates_of_the_handbook() -> None:
    """Ten flow rates: 50.81, limits 45.82 and 55.80. Source: NIST/SEMATECH e-Handbook 6.3.2.2 (from memory)."""
    values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    limits = control_limits(values)
    assert limits is not None
    assert limits.centre == pytest.approx(50.81)
    assert (limits.low, limits.high) == (pytest.approx(45.8159, abs=0.003), pytest.approx(55.8041, abs=0.003))
    assert outside(values, limits) == ()
    assert outside([*values, 56.0, 45.0], limits) == (10, 11)


@given(st.integers(0, 60), st.integers(0, 60))
def test_shares_agree_with_another_library(a: int, b: int) -> None:
    count, of = min(a, b), max(a, b)
    found = share(count, of)
    if of == 0:
        assert found.value is None
        return
    low, high = proportion_confint(count, of, 0.05, method="wilson")
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))


@given(st.lists(st.floats(0.0, 1e5), max_size=60))
def test_a_median_lies_in_its_interval(seconds: list[float]) -> None:
    found = times(seconds)
    assert found.n == len(seconds)
    if len(seconds) < 6:
        assert found.low_s is None  # 2 · 2⁻ⁿ is more than 5 % up to five
    else:
        assert found.low_s is not None
        assert found.high_s is not None
        assert found.median_s is not None
        assert found.low_s <= found.median_s <= found.high_s


def test_intervals_of_a_median_cover_as_often_as_they_say() -> None:
    numbers = np.random.default_rng(9).exponential(size=(2000, 15))
    found = [times(list(row)) for row in numbers]
    held = sum((f.low_s or 0.0) <= math.log(2.0) <= (f.high_s or 0.0) for f in found) / len(found)
    assert held >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / len(found))


@given(st.lists(st.floats(-1e6, 1e6), min_size=8, max_size=40), st.floats(0.1, 50.0), st.floats(-1e3, 1e3))
def test_limits_follow_a_change_of_unit(values: list[float], scale: float, shift: float) -> None:
    one, other = control_limits(values), control_limits([scale * v + shift for v in values])
    assert one is not None
    assert other is not None
    room = 1e-6 * (1.0 + scale * max(abs(v) for v in values) + abs(shift))
    assert other.low == pytest.approx(scale * one.low + shift, abs=room)
    assert other.step_high == pytest.approx(scale * one.step_high, abs=room)


@given(st.lists(st.floats(-1e9, 1e9), max_size=30), st.text(max_size=20))
def test_a_chart_is_the_same_each_time_and_escapes(values: list[float], title: str) -> None:
    limits = ControlLimits(0.0, -1.0, 1.0, 2.0)
    first = control_chart(values, "%", title=f"<b>{title}", limits=limits)
    assert first == control_chart(values, "%", title=f"<b>{title}", limits=limits)
    assert "<b>" not in first
    assert "nan" not in first
