"""Proof against values from outside the project.

Each check names its source. Where a source was recalled and not read, it says so.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits
from asleft.proof.correlated import autocorrelation, autocorrelations, widening
from asleft.proof.decide import probability_inside
from asleft.proof.estimate import Estimate
from asleft.proof.steady import mean, spread
from asleft.proof.tracking import Tracking, tracking


def limits(low: float | None, high: float | None) -> Limits:
    return Limits(low, high, "1", LimitOwner.OURS)


class TestConformity:
    """JCGM 106:2012, examples of clause 7 (recalled; arithmetic recomputed outside the project)."""

    def test_single_upper_limit_7_3_3_example_1(self) -> None:
        assert probability_inside(-5.47, 0.05, limits(None, -5.40)) == pytest.approx(0.919243, abs=5e-7)

    def test_single_lower_limit_7_3_3_example_2(self) -> None:
        assert probability_inside(509.7, 8.6, limits(490.0, None)) == pytest.approx(0.989010, abs=5e-7)

    def test_two_limits_7_4(self) -> None:
        assert probability_inside(13.6, 1.8, limits(12.5, 16.3)) == pytest.approx(0.662630, abs=5e-7)

    @pytest.mark.parametrize(
        ("probability", "z"),
        [(0.80, 0.841621), (0.90, 1.281552), (0.95, 1.644854), (0.99, 2.326348), (0.999, 3.090232)],
    )
    def test_table_1(self, probability: float, z: float) -> None:
        assert probability_inside(-z, 1.0, limits(None, 0.0)) == pytest.approx(probability, abs=1e-6)

    def test_speed_law_example(self) -> None:
        measured = 106.588  # 100 km/h at 99.9 % with u/v = 2 %
        assert probability_inside(measured, 0.02 * measured, limits(100.0, None)) == pytest.approx(0.999, abs=1e-5)


class TestStudent:
    """JCGM 100:2008, table G.2, 95 % (recalled): t for 1, 5, 10, 20, 50 degrees of freedom."""

    @pytest.mark.parametrize(("dof", "t"), [(1, 12.71), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01)])
    def test_widening_is_half_of_t(self, dof: float, t: float) -> None:
        assert 2.0 * widening(dof) == pytest.approx(t, abs=0.005)


#: NIST StRD, univariate summary statistics, certified values. Source: the data files' headers (public domain).
NIST = {
    "Lew": (200, -177.435000000000, 277.332168044316, -0.307304800605679),
    "Lottery": (218, 518.958715596330, 291.699727470969, -0.120948622967393),
    "NumAcc1": (3, 10000002.0, 1.0, -0.5),
    "NumAcc2": (1001, 1.2, 0.1, -0.999),
    "NumAcc4": (1001, 10000000.2, 0.1, -0.999),
}


def nist(folder: Path, name: str) -> np.ndarray:
    lines = (folder / "nist" / f"{name}.dat").read_text().splitlines()
    start = next(i for i, line in enumerate(lines) if line.strip().startswith("-----"))
    return np.array([float(line) for line in lines[start + 1 :] if line.strip()])


@pytest.mark.parametrize("name", NIST)
def test_nist_summary_statistics(checks: Path, name: str) -> None:
    n, mean_value, sd, r1 = NIST[name]
    values = nist(checks, name)
    assert len(values) == n
    assert autocorrelation(values) == pytest.approx(r1, rel=1e-6)
    if n < 10:
        return
    series = Series("s", "1", tuple(np.arange(n, dtype=float)), tuple(values), 0.0)
    found = mean(series)
    assert isinstance(found, Estimate)
    assert found.value == pytest.approx(mean_value, rel=1e-14)
    moved = spread(series)
    assert isinstance(moved, Estimate)
    # ours divides by 1 - 1/n_eff where the certified value divides by 1 - 1/n: equal when samples do not correlate
    assert moved.value == pytest.approx(sd, rel=0.01)


def test_autocorrelation_against_statsmodels() -> None:
    from statsmodels.tsa.stattools import acf

    rng = np.random.default_rng(7)
    x = np.cumsum(rng.standard_normal(500)) * 0.1 + rng.standard_normal(500)
    assert autocorrelations(x, 40) == pytest.approx(acf(x, nlags=40, fft=False), abs=1e-12)


def ramp(n: int, slope: float, noise: float, seed: int) -> tuple[Series, Series]:
    rng = np.random.default_rng(seed)
    t = np.arange(n) * 0.2
    x = 30 + 25 * np.sin(2 * np.pi * t / (0.2 * n))
    y = 3 + slope * x + noise * rng.standard_normal(n)
    return (
        Series("a", "%", tuple(t), tuple(y), 0.0),
        Series("c", "%", tuple(t), tuple(x), 0.0),
    )


def test_slope_against_statsmodels_with_the_delay_fitted_along() -> None:
    from statsmodels.api import OLS

    actual, commanded = ramp(200, 0.97, 0.6, 11)
    found = tracking(actual, commanded)
    assert isinstance(found, Tracking)
    t, x, y = (np.asarray(v) for v in (actual.times_s, commanded.values, actual.values))
    later, earlier = np.minimum(t + 0.5, t[-1]), np.maximum(t - 0.5, t[0])
    speed = (np.interp(later, t, x) - np.interp(earlier, t, x)) / (later - earlier)
    fit = OLS(y, np.column_stack([np.ones(200), speed, x])).fit()
    assert found.slope.value == pytest.approx(fit.params[2], rel=1e-9)
    assert fit.bse[2] * 0.8 < found.slope.u < fit.bse[2] * 2.0
    assert found.residual.value == pytest.approx(math.sqrt(fit.mse_resid), rel=0.1)


def test_slope_against_scipy_where_there_is_no_delay() -> None:
    from scipy.stats import linregress

    actual, commanded = ramp(400, 1.03, 0.3, 12)
    found = tracking(actual, commanded)
    assert isinstance(found, Tracking)
    fit = linregress(commanded.values, actual.values)
    assert found.slope.value == pytest.approx(fit.slope, abs=3 * fit.stderr)


def test_rounding_of_the_command_is_taken_out() -> None:
    """W. A. Fuller (1987), 1.2 (recalled): error variance in the regressor shrinks the slope by its share."""
    rng = np.random.default_rng(5)
    t = np.arange(4000) * 0.2
    x = 30 + 25 * np.sin(2 * np.pi * t / 200)
    q = 12.0  # coarse, so that the shrinking can be seen
    y = x + 0.1 * rng.standard_normal(4000)
    dither = q * (rng.random(4000) - 0.5)
    rounded = np.round((x + dither) / q) * q - dither  # subtractive dither: error uniform and independent
    plain = float(np.polyfit(rounded, y, 1)[0])
    found = tracking(Series("a", "%", tuple(t), tuple(y), 0.0), Series("c", "%", tuple(t), tuple(rounded), q))
    assert isinstance(found, Tracking)
    assert plain < 0.985
    assert abs(found.slope.value - 1.0) < 0.4 * abs(plain - 1.0)
