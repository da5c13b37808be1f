"""Nozzle flow against the isentropic table, textbook examples and an independent library."""

from __future__ import annotations

import pytest
from fluids import compressible, safety_valve

from asleft.bench.physics import flow


@pytest.mark.parametrize(
    ("k", "ratio", "largest"),
    [(1.30, 0.545728, 0.667262), (1.35, 0.536851, 0.676145), (1.40, 0.528282, 0.684731), (1.67, 0.486669, 0.726661)],
)
def test_critical_ratio_and_choked_flow_function(k: float, ratio: float, largest: float):
    """Isentropic relations, computed with independent code (checks, section 6)."""
    assert flow.critical_ratio(k) == pytest.approx(ratio, abs=5e-7)
    assert flow.choked_flow_function(k) == pytest.approx(largest, abs=5e-7)


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [
        (0.3, 0.684731),
        (0.528282, 0.684731),
        (0.60, 0.676915),
        (0.70, 0.638317),
        (0.80, 0.560661),
        (0.90, 0.422581),
        (0.95, 0.307641),
        (0.99, 0.140662),
        (1.0, 0.0),
        (1.2, 0.0),
    ],
)
def test_flow_function_of_air(ratio: float, expected: float):
    """Both forms, general and fast, give the table's values (checks, section 6)."""
    assert flow.flow_function(ratio) == pytest.approx(expected, abs=1e-6)
    assert flow.air_flow_function(ratio) == pytest.approx(expected, abs=1e-6)


def test_critical_pressure_of_carbon_dioxide():
    """Cengel and Cimbala, example 12-4: k 1.289, 1400 kPa give 766.81 kPa (from the docs of `fluids`)."""
    assert flow.critical_ratio(1.289) * 1400.0 == pytest.approx(766.81, abs=0.05)
    assert flow.critical_ratio(1.289) * 1400e3 == pytest.approx(compressible.P_critical_flow(1400e3, 1.289), rel=1e-9)


def test_choked_flux_and_area():
    """239.174 kg/(s m²) at 101.325 kPa and 293.15 K; 3.0 g/s need 12.543 mm² (checks, section 6)."""
    assert flow.mass_flow(1.0, 101_325.0, 293.15, 0.0) == pytest.approx(239.174, abs=5e-4)
    assert flow.effective_area(3.0e-3, 101_325.0, 293.15, 30_000.0) * 1e6 == pytest.approx(12.543, abs=5e-4)


@pytest.mark.parametrize("p2_kpa", [30.0, 50.0, 60.0, 80.0, 95.0])
def test_area_beside_api_520(p2_kpa: float):
    """Area for 1 g/s beside `fluids.safety_valve.API520_A_g` (Kd 1), whose constants are rounded: 1e-3."""
    ours = flow.effective_area(1e-3, 101_325.0, 293.15, p2_kpa * 1e3)
    theirs = safety_valve.API520_A_g(
        m=1e-3, T=293.15, Z=1.0, MW=28.9645, k=1.4, P1=101_325.0, P2=p2_kpa * 1e3, Kd=1.0, Kb=1.0, Kc=1.0
    )
    assert ours == pytest.approx(theirs, rel=1e-3)
