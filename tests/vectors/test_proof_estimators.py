"""Estimators against values and programs from outside the project. Each names its source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.proof.estimate import Estimate
from asleft.proof.flow import KAPPA, critical_ratio, effective_area_mm2, flow_area, flow_function, speed_density_kg_s
from asleft.proof.hunting import amplitudes_squared
from asleft.proof.zero import allan_deviation

#: NBS14, ten phases of a published test (recomputed from an open library's tests): frequencies less their mean.
NBS14 = np.array([892.0, 809, 823, 798, 671, 644, 883, 903, 677])


class TestAllan:
    @pytest.mark.parametrize(("factor", "expected"), [(1, 91.22945), (2, 85.95287)])
    def test_overlapping_deviation_of_nbs14(self, factor: int, expected: float) -> None:
        """NIST SP 1065 (2008), table of the nine-point set: OADEV at τ = 1 and 2."""
        assert allan_deviation(NBS14, factor) == pytest.approx(expected, rel=1e-6)

    def test_against_allantools(self) -> None:
        import allantools

        rng = np.random.default_rng(1)
        y = rng.standard_normal(500) + 0.05 * np.cumsum(rng.standard_normal(500))
        _, expected, _, _ = allantools.oadev(y, rate=1.0, data_type="freq", taus=[1, 4, 20, 100])
        assert [allan_deviation(y, m) for m in (1, 4, 20, 100)] == pytest.approx(list(expected), rel=1e-9)


class TestRhythm:
    def test_amplitudes_against_scipy(self) -> None:
        """scipy.signal.lombscargle, floating mean, complex output: amplitude of the same least-squares sine."""
        from scipy.signal import lombscargle

        rng = np.random.default_rng(2)
        t = np.sort(rng.uniform(0, 60, 250))
        y = 12 * np.sin(2 * np.pi * 0.42 * t) + rng.standard_normal(250)
        f = np.linspace(0.2, 1.5, 200)
        ours = amplitudes_squared(t, y, f)
        power = lombscargle(t, y - y.mean(), 2 * np.pi * f, floating_mean=True, normalize=True)
        # normalised power is the share of the sum of squares that the sine explains; ours must rank and peak alike
        assert int(np.argmax(ours)) == int(np.argmax(power))
        assert float(np.corrcoef(ours, power)[0, 1]) > 0.998

    def test_amplitude_against_statsmodels_least_squares(self) -> None:
        from statsmodels.api import OLS

        rng = np.random.default_rng(3)
        t = np.sort(rng.uniform(0, 60, 120))
        y = 7 * np.cos(2 * np.pi * 0.77 * t + 1) + rng.standard_normal(120)
        for f in (0.3, 0.77, 1.2):
            columns = np.column_stack([np.ones(120), np.cos(2 * np.pi * f * t), np.sin(2 * np.pi * f * t)])
            fit = OLS(y, columns).fit()
            expected = float(fit.params[1] ** 2 + fit.params[2] ** 2)
            assert float(amplitudes_squared(t, y, np.array([f]))[0]) == pytest.approx(expected, rel=1e-9)


class TestFlow:
    """Check values computed outside the project, and the `fluids` library."""

    @pytest.mark.parametrize(
        ("kappa", "critical", "largest"),
        [
            (1.30, 0.545728, 0.667262),
            (1.35, 0.536851, 0.676145),
            (1.40, 0.528282, 0.684731),
            (1.67, 0.486669, 0.726661),
        ],
    )
    def test_critical_ratio_and_choked_flow(self, kappa: float, critical: float, largest: float) -> None:
        assert critical_ratio(kappa) == pytest.approx(critical, abs=5e-7)
        assert flow_function(0.3, kappa) == pytest.approx(largest, abs=5e-7)

    @pytest.mark.parametrize(
        ("ratio", "expected"),
        [
            (0.60, 0.676915),
            (0.70, 0.638317),
            (0.80, 0.560661),
            (0.90, 0.422581),
            (0.95, 0.307641),
            (0.99, 0.140662),
            (1.0, 0),
        ],
    )
    def test_flow_function_of_air(self, ratio: float, expected: float) -> None:
        assert flow_function(ratio) == pytest.approx(expected, abs=5e-7)

    def test_choked_flux_and_area(self) -> None:
        assert effective_area_mm2(3.0e-3, 101325, 293.15, 30000) == pytest.approx(12.543, abs=2e-3)
        assert 1e6 / effective_area_mm2(1.0, 101325, 293.15, 30000) * 1.0 == pytest.approx(239.174, abs=0.01)

    @pytest.mark.parametrize("kpa", [40.0, 60.0, 80.0, 95.0])
    def test_area_against_fluids(self, kpa: float) -> None:
        """API 520 gas sizing with Kd = 1, which rounds its constants: 1e-3."""
        from fluids.safety_valve import API520_A_g

        expected = API520_A_g(m=1e-3, T=293.15, Z=1, MW=28.9647, k=KAPPA, P1=101325.0, P2=kpa * 1e3, Kd=1, Kb=1, Kc=1)
        assert effective_area_mm2(1e-3, 101325, 293.15, kpa * 1e3) == pytest.approx(1e6 * expected, rel=1e-3)

    @pytest.mark.parametrize("kappa", [1.3, 1.4, 1.67])
    def test_critical_ratio_against_fluids(self, kappa: float) -> None:
        from fluids.compressible import P_critical_flow

        assert critical_ratio(kappa) == pytest.approx(P_critical_flow(1.0, kappa), rel=1e-9)

    @pytest.mark.parametrize(
        ("litres", "rpm", "kpa", "celsius", "filling", "expected"),
        [(1.5, 750, 35, 40, 0.8, 2.92), (2.0, 750, 30, 40, 0.8, 3.34), (2.0, 800, 35, 30, 0.75, 4.02)],
    )
    def test_speed_density(
        self, litres: float, rpm: float, kpa: float, celsius: float, filling: float, expected: float
    ) -> None:
        flow = 1e3 * speed_density_kg_s(filling, kpa * 1e3, litres * 1e-3, rpm, celsius + 273.15)
        assert flow == pytest.approx(expected, abs=0.005)

    @pytest.mark.parametrize(("flow", "area"), [(2.53, 10.9), (3.30, 14.2), (2.56, 11.0)])
    def test_the_sample_report(self, flow: float, area: float) -> None:
        """TRADE 7.5: 1.6 L, 100 kPa, intake air 30 °C, choked."""

        def known(value: float, unit: str) -> Estimate:
            return Estimate(value, 0.0, unit, 1, 1.0, (0.0, 1.0))

        found = flow_area(known(flow, "g/s"), known(100.0, "kPa"), known(30.0, "°C"), known(30.0, "kPa"))
        assert isinstance(found, Estimate)
        assert found.value == pytest.approx(area, abs=0.05)

    def test_monte_carlo_agrees_with_the_law_of_propagation(self) -> None:
        """JCGM 101:2008, 7 (recalled): propagation of distributions as the check of the linear law."""
        rng = np.random.default_rng(4)
        draws = [
            effective_area_mm2(m, p0, t0, p)
            for m, p0, t0, p in zip(
                rng.normal(3e-3, 6e-5, 20000),
                rng.normal(101325, 600, 20000),
                rng.normal(303, 3, 20000),
                rng.normal(70000, 700, 20000),
                strict=True,
            )
        ]
        found = flow_area(
            Estimate(3.0, 0.06, "g/s", 1, 1.0, (0, 1)),
            Estimate(101.325, 0.6, "kPa", 1, 1.0, (0, 1)),
            Estimate(29.85, 3.0, "°C", 1, 1.0, (0, 1)),
            Estimate(70.0, 0.7, "kPa", 1, 1.0, (0, 1)),
        )
        assert isinstance(found, Estimate)
        assert found.u == pytest.approx(float(np.std(draws)), rel=0.03)
        assert found.value == pytest.approx(float(np.mean(draws)), rel=0.002)


def test_steering_geometry_of_the_check_values() -> None:
    """TRADE 5.7: i = 15, L = 2.7 m, K = 0.0025: 1° of wheel gives 0.19 / 0.29 / 0.38 °/s at 30 / 50 / 80 km/h."""
    for kmh, yaw in ((30, 0.19), (50, 0.29), (80, 0.38)):
        v = kmh / 3.6
        assert v / (15 * (2.7 + 0.0025 * v * v)) == pytest.approx(yaw, abs=0.006)
    assert math.isclose(0.1 * 15 * (2.7 + 0.0025 * (50 / 3.6) ** 2) / (50 / 3.6), 0.34, abs_tol=0.01)
