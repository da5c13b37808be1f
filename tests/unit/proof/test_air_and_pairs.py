"""Air, differences between pictures, dual sensors."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import Reason
from asleft.proof.dual import ratio_error, sum_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.flow import effective_area_mm2, flow_area, leakage_change, speed_density
from asleft.proof.paired import difference, ratio

Q = 100 / 255


def known(value: float, u: float, unit: str, **parts: float) -> Estimate:
    return Estimate(value, u, unit, 50, 20.0, (0.0, 30.0), parts or {"spread": u})


def number(found: Estimate | NoEstimate) -> Estimate:
    assert isinstance(found, Estimate), found
    return found


class TestFlowArea:
    flow = known(3.0, 0.03, "g/s")
    baro = known(101.325, 0.3, "kPa")
    intake = known(20.0, 2.0, "°C")
    manifold = known(33.0, 0.3, "kPa")

    def test_value_and_uncertainty_by_hand(self) -> None:
        found = number(flow_area(self.flow, self.baro, self.intake, self.manifold))
        assert found.value == pytest.approx(12.54, abs=0.01)  # checks: 3.0 g/s choked at 101.325 kPa, 293.15 K
        relative = math.sqrt((0.03 / 3.0) ** 2 + (0.3 / 101.325) ** 2 + (0.5 * 2.0 / 293.15) ** 2)
        assert found.u == pytest.approx(found.value * relative, rel=1e-3)
        assert found.parts["manifold"] == pytest.approx(0.0, abs=1e-9)  # choked

    def test_not_choked_depends_on_the_manifold(self) -> None:
        found = number(flow_area(self.flow, self.baro, self.intake, known(80.0, 0.5, "kPa")))
        assert found.parts["manifold"] > 0.01

    def test_an_engine_that_does_not_throttle(self) -> None:
        found = flow_area(self.flow, self.baro, self.intake, known(97.0, 0.3, "kPa"))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.ENVIRONMENT,)

    def test_speed_density(self) -> None:
        flow = speed_density(
            (0.8, 0.08), known(35.0, 0.3, "kPa"), 1.5, known(750.0, 2.0, "rpm"), known(40.0, 2.0, "°C")
        )
        assert flow.value == pytest.approx(2.92, abs=0.01)  # checks, section 6
        assert flow.parts["filling"] == pytest.approx(0.292, abs=0.001)


class TestDifference:
    def test_what_is_common_drops_out(self) -> None:
        a = known(10.9, 0.5, "mm²", spread=0.1, accuracy=0.49)
        b = known(14.2, 0.5, "mm²", spread=0.1, accuracy=0.49)
        found = number(difference(a, b))
        assert found.value == pytest.approx(3.3)
        assert found.u == pytest.approx(0.1 * math.sqrt(2))

    def test_a_common_factor_acts_on_the_difference_alone(self) -> None:
        a = known(10.0, 1.0, "g/s", filling=1.0)
        b = known(11.0, 1.1, "g/s", filling=1.1)
        assert number(difference(a, b)).u == pytest.approx(0.1)

    def test_units_must_agree(self) -> None:
        assert isinstance(difference(known(1, 0.1, "g/s"), known(1, 0.1, "mm²")), NoEstimate)

    def test_ratio_of_two_ways_to_measure(self) -> None:
        found = number(ratio(known(3.0, 0.1, "g/s"), known(2.4, 0.1, "g/s")))
        assert found.value == pytest.approx(0.8)
        assert found.u == pytest.approx(0.8 * math.hypot(0.1 / 3.0, 0.1 / 2.4))
        assert isinstance(ratio(known(0.0, 0.1, "g/s"), known(1.0, 0.1, "g/s")), NoEstimate)


class TestLeakage:
    change = known(3.3, 0.1, "mm²")

    def test_eight_bit_data_claim_no_leakage(self) -> None:
        found = leakage_change(self.change, Q, 14.9, 14.9, 1.4 / Q)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.RESOLUTION,)
        assert "1.4 mm²" in found.message.text

    def test_a_finer_signal_does(self) -> None:
        found = number(leakage_change(self.change, Q / 16, 14.9, 14.9, 1.4 / Q))
        assert found.u == pytest.approx(math.hypot(0.1, 1.4 / 16 / math.sqrt(6)))

    def test_a_moved_plate_does_not(self) -> None:
        found = leakage_change(self.change, Q / 16, 14.9, 15.3, 1.4 / Q)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.WINDOW,)


def swept(slope: float, offset: float, bend: float = 0.0, seed: int = 1) -> tuple[Series, Series]:
    t = np.arange(0, 20, 0.15)
    travel = np.interp(t, [0, 1, 9, 11, 19], [12, 12, 80, 80, 12])
    noise = 0.1 * np.random.default_rng(seed).standard_normal(len(t))
    other = offset + slope * travel + noise + bend * np.exp(-(((travel - 50) / 6) ** 2))
    later = np.interp(t + 0.05, [0, 1, 9, 11, 19], [12, 12, 80, 80, 12])
    other = other + slope * (later - travel)
    return (
        Series("throttle-absolute", "%", tuple(t), tuple(np.round(travel / Q) * Q), Q),
        Series("throttle-absolute-b", "%", tuple(t + 0.05), tuple(np.round(other / Q) * Q), Q),
    )


class TestDual:
    def test_a_good_inverse_pair(self) -> None:
        found = number(sum_error(*swept(-1.0, 100.0), 100.0))
        assert found.value < 0.3
        assert found.value <= 2 * found.u

    @pytest.mark.parametrize("wrong", [1.5, 4.0])
    def test_an_offset_is_found(self, wrong: float) -> None:
        found = number(sum_error(*swept(-1.0, 100.0 + wrong), 100.0))
        assert found.value == pytest.approx(wrong, abs=2 * found.u)

    def test_a_bad_place_is_not_averaged_away(self) -> None:
        found = number(sum_error(*swept(-1.0, 100.0, bend=6.0), 100.0))
        assert found.value > 3.0

    def test_a_half_slope_pair(self) -> None:
        found = number(ratio_error(*swept(0.5, 0.0), 2.0))
        assert found.value < 0.05
        assert number(ratio_error(*swept(0.45, 0.0), 2.0)).value == pytest.approx(0.222, abs=0.03)

    def test_too_little_travel(self) -> None:
        found = sum_error(*swept(-1.0, 100.0), 100.0, min_span=90.0)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.RESOLUTION,)

    def test_no_ratio_of_nothing(self) -> None:
        found = ratio_error(*swept(0.5, -6.0), 2.0)
        assert isinstance(found, NoEstimate)

    def test_different_units_and_too_few(self) -> None:
        a, b = swept(-1.0, 100.0)
        volts = Series(b.signal, "V", b.times_s, b.values, b.resolution)
        assert isinstance(sum_error(a, volts, 100.0), NoEstimate)
        empty = Series(b.signal, "%", (), (), Q)
        assert isinstance(sum_error(a, empty, 100.0), NoEstimate)
        late = Series(b.signal, "%", tuple(t + 500 for t in b.times_s), b.values, Q)
        assert isinstance(sum_error(a, late, 100.0), NoEstimate)


def test_area_without_a_pressure_difference_is_infinite() -> None:
    assert effective_area_mm2(0.003, 101325, 293, 101325) == math.inf
