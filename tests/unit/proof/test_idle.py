"""Idle: rhythm, dip and return; and what happens where it cannot be seen."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import Reason
from asleft.proof.estimate import NoEstimate
from asleft.proof.hunting import Hunting, hunting
from asleft.proof.transient import Transient, transient


def speed(values, times, **more) -> Series:
    values = np.round(np.asarray(values) * 4) / 4
    return Series("engine-speed", "rpm", tuple(map(float, times)), tuple(map(float, values)), 0.25, **more)


def uneven(n: int = 300, step_s: float = 0.15, seed: int = 2) -> np.ndarray:
    return np.cumsum(step_s * np.random.default_rng(seed).uniform(0.7, 1.3, n))


class TestHunting:
    @pytest.mark.parametrize(("amplitude", "hz"), [(20.0, 0.3), (20.0, 0.9), (35.0, 1.4)])
    def test_amplitude_and_frequency(self, amplitude: float, hz: float) -> None:
        t = uneven()
        noise = 5 * np.random.default_rng(4).standard_normal(len(t))
        found = hunting(speed(750 + amplitude * np.sin(2 * np.pi * hz * t) + noise, t))
        assert isinstance(found, Hunting)
        assert found.seen
        assert found.amplitude.value == pytest.approx(amplitude, abs=2 * found.amplitude.u)
        assert found.frequency.value == pytest.approx(hz, abs=2 * found.frequency.u)
        assert found.amplitude.u < 1.5

    def test_noise_alone_is_no_hunting(self) -> None:
        t = uneven()
        found = hunting(speed(750 + 8 * np.random.default_rng(5).standard_normal(len(t)), t))
        assert isinstance(found, Hunting)
        assert not found.seen
        assert found.amplitude.value <= 2 * found.amplitude.u

    def test_a_slow_drift_is_no_hunting(self) -> None:
        t = uneven()
        found = hunting(speed(750 + 2 * t + np.random.default_rng(6).standard_normal(len(t)), t))
        assert isinstance(found, Hunting)
        assert found.amplitude.value < 1.5

    @pytest.mark.parametrize(
        ("step_s", "more", "reason"),
        [
            (2.0, {}, Reason.RESOLUTION),
            (0.15, {"u_time_s": 1.0}, Reason.RESOLUTION),
            (0.05, {}, Reason.TOO_FEW),
        ],
    )
    def test_where_it_cannot_be_seen(self, step_s: float, more: dict[str, float], reason: Reason) -> None:
        t = uneven(200, step_s)
        found = hunting(speed(750 + np.random.default_rng(7).standard_normal(200), t, **more))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (reason,)

    def test_two_samples(self) -> None:
        assert isinstance(hunting(speed([750, 751], [0, 1])), NoEstimate)


def dip(depth: float = 100.0, tau_s: float = 0.7, step_s: float = 0.2) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(0, 20, step_s)
    x = np.maximum(t - 5.03, 0)
    return t, 750 - depth * (x / tau_s) * np.exp(1 - x / tau_s)


class TestTransient:
    def test_depth_and_return_of_a_load_step(self) -> None:
        t, y = dip()
        found = transient(speed(y + np.random.default_rng(1).standard_normal(len(t)), t), 5.0)
        assert isinstance(found, Transient)
        assert found.dip.value == pytest.approx(100.0, abs=2 * found.dip.u)
        x = np.arange(0, 20, 0.001)
        back = x[(100 * (x / 0.7) * np.exp(1 - x / 0.7)) > 25].max() + 0.03
        assert found.back.value == pytest.approx(back, abs=2 * found.back.u + 0.2)

    def test_throttle_let_go_is_held_against_the_target(self) -> None:
        t = np.arange(0, 25, 0.2)
        x = np.maximum(t - 5, 0)
        y = np.where(x <= 0, 2500, 750 + 1750 * np.exp(-x / 0.8) - 90 * np.exp(-(((x - 4) / 0.8) ** 2)))
        found = transient(speed(y, t), 5.0, level=750.0)
        assert isinstance(found, Transient)
        assert found.dip.value == pytest.approx(90.0, abs=12.0)

    def test_no_dip_is_nought_with_an_uncertainty(self) -> None:
        t = np.arange(0, 20, 0.2)
        found = transient(speed(750 + np.random.default_rng(1).standard_normal(len(t)), t), 5.0)
        assert isinstance(found, Transient)
        assert found.dip.value < 5.0
        assert found.dip.u > 0.0

    def test_an_engine_that_does_not_come_back(self) -> None:
        t = np.arange(0, 20, 0.2)
        found = transient(speed(np.where(t < 5, 750, 600), t), 5.0)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.TIME_OUT,)

    def test_too_slow_a_link(self) -> None:
        t, y = dip(step_s=1.0)
        found = transient(speed(y, t), 5.0, before_s=5.0)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.RESOLUTION,)

    def test_nothing_before(self) -> None:
        t, y = dip()
        assert isinstance(transient(speed(y, t), 0.1), NoEstimate)


def test_amplitude_is_half_the_swing() -> None:
    t = uneven()
    found = hunting(speed(750 + 30 * np.sin(2 * np.pi * 0.5 * t), t))
    assert isinstance(found, Hunting)
    assert 2 * found.amplitude.value == pytest.approx(60.0, abs=3.0)
    assert math.isfinite(found.frequency.u)
