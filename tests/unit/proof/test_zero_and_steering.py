"""Zero at rest, two headings, steering centre."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Reason, Verdict
from asleft.proof.decide import decide
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.steering import Straight, both_directions, straight_offset
from asleft.proof.zero import GRAVITY, Stillness, TwoHeadings, slope_degrees, two_headings, zero_at_rest

STILL = Stillness(0.1, 0.02)


def rest(values, step_s: float = 0.1, unit: str = "°/s", q: float = 0.01) -> Series:
    rounded = np.round(np.asarray(values) / q) * q
    return Series("yaw-rate", unit, tuple(step_s * i for i in range(len(rounded))), tuple(map(float, rounded)), q)


def noise(n: int = 100, sd: float = 0.05, seed: int = 1) -> np.ndarray:
    return sd * np.random.default_rng(seed).standard_normal(n)


def number(found: Estimate | NoEstimate) -> Estimate:
    assert isinstance(found, Estimate), found
    return found


class TestZero:
    def test_offset_with_its_parts(self) -> None:
        found = number(zero_at_rest(rest(0.12 + noise()), STILL))
        assert found.value == pytest.approx(0.12, abs=2 * found.u)
        assert set(found.parts) == {"spread", "drift", "resolution", "accuracy"}
        assert found.u < 0.03

    @pytest.mark.parametrize(
        ("values", "words"),
        [
            (0.3 * np.sin(np.arange(100) / 3), "it moved by"),
            (np.where(np.arange(100) == 40, 0.8, noise()), "a knock of"),
            (noise(sd=0.01) + 0.03 * np.arange(100) * 0.1, "it drifted by"),
        ],
    )
    def test_not_still(self, values: np.ndarray, words: str) -> None:
        found = zero_at_rest(rest(values), STILL)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.WINDOW,)
        assert words in found.message.text

    def test_a_zero_that_wanders_is_less_certain(self) -> None:
        wander = np.cumsum(noise(200, 0.003, 3))
        still = number(zero_at_rest(rest(noise(200, 0.02, 4)), STILL))
        wanders = number(zero_at_rest(rest(noise(200, 0.02, 4) + wander - wander.mean()), STILL))
        assert wanders.u > still.u


class TestTwoHeadings:
    def read(self, bias: float, slope_deg: float) -> TwoHeadings:
        g = GRAVITY * math.sin(math.radians(slope_deg))
        there, back = (
            number(zero_at_rest(rest(v + noise(seed=s), unit="m/s²"), STILL)) for v, s in ((bias + g, 1), (bias - g, 2))
        )
        found = two_headings(there, back)
        assert isinstance(found, TwoHeadings)
        return found

    def test_bias_and_slope_are_told_apart(self) -> None:
        found = self.read(0.2, 1.0)
        assert found.bias.value == pytest.approx(0.2, abs=2 * found.bias.u)
        assert slope_degrees(found.slope).value == pytest.approx(1.0, abs=0.2)
        assert 2 * found.bias.u == pytest.approx(0.04, abs=0.01)  # TRADE 5.6: U about 0.04 (common practice)

    @pytest.mark.parametrize(
        ("floor_deg", "verdict"), [(0.5, Verdict.PASS), (1.0, Verdict.CANNOT_TELL), (1.5, Verdict.FAIL)]
    )
    def test_a_zero_learned_on_a_slope_shows(self, floor_deg: float, verdict: Verdict) -> None:
        """Zeroed on a floor of so much, the sensor reads nought there; its bias is that slope (TRADE 5.6)."""
        wrong = GRAVITY * math.sin(math.radians(floor_deg))
        limits = Limits(-0.15, 0.15, "m/s²", LimitOwner.OURS)
        assert decide("bias", "Bias", self.read(wrong, floor_deg).bias, limits).verdict is verdict

    def test_only_accelerations(self) -> None:
        e = number(zero_at_rest(rest(noise()), STILL))
        assert isinstance(two_headings(e, e), NoEstimate)


def drive(offset: float = 1.2, seed: int = 1, seconds: int = 120, kmh: float = 60.0, pull: float = 0.0):
    rng = np.random.default_rng(seed)
    t = np.arange(0, seconds, 0.1)
    yaw = 0.25 * np.sin(2 * np.pi * t / 17) + 0.02 * rng.standard_normal(len(t))
    v = kmh + 5 * np.sin(2 * np.pi * t / 50)
    ms = v / 3.6
    angle = offset + pull + 15 * (2.7 + 0.0025 * ms**2) / ms * yaw + 0.1 * rng.standard_normal(len(t))
    made = {"steering-angle": ("°", angle, 0.1), "yaw-rate": ("°/s", yaw, 0.01), "vehicle-speed": ("km/h", v, 1.0)}
    return [
        Series(name, unit, tuple(t + 0.01 * k), tuple(np.round(x / q) * q), q)
        for k, (name, (unit, x, q)) in enumerate(made.items())
    ]


def straight(*args, **more) -> Straight:
    found = straight_offset(*drive(*args, **more))
    assert isinstance(found, Straight), found
    return found


class TestSteering:
    def test_offset_is_what_is_left_without_yaw(self) -> None:
        found = straight()
        assert found.offset.value == pytest.approx(1.2, abs=2 * found.offset.u)
        assert found.offset.u < 0.3
        assert found.distance_m > 300

    def test_both_directions_take_the_road_out(self) -> None:
        found = number(both_directions(straight(pull=0.4), straight(pull=-0.4, seed=2)))
        assert found.value == pytest.approx(1.2, abs=0.1)

    def test_directions_that_disagree_are_not_averaged(self) -> None:
        found = both_directions(straight(pull=1.0), straight(pull=-1.0, seed=2))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.CONTRADICTION,)

    @pytest.mark.parametrize("more", [{"kmh": 20.0}, {"seconds": 8}])
    def test_too_little_straight_driving(self, more: dict[str, float]) -> None:
        found = straight_offset(*drive(**more))  # type: ignore[arg-type]
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.WINDOW,)
