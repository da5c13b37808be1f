"""Supply, warm-up, learned values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import Reason
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.learned import room_to_end, same_again
from asleft.proof.supply import TimeToLimit, ripple, sag, time_to_limit
from asleft.proof.warmup import Forecast, cold_agreement, forecast


def volts(values, step_s: float = 0.5, q: float = 0.001) -> Series:
    rounded = np.round(np.asarray(values) / q) * q
    return Series(
        "control-module-voltage", "V", tuple(step_s * i for i in range(len(rounded))), tuple(map(float, rounded)), q
    )


def noise(n: int, sd: float = 0.02, seed: int = 1) -> np.ndarray:
    return sd * np.random.default_rng(seed).standard_normal(n)


def number(found: Estimate | NoEstimate) -> Estimate:
    assert isinstance(found, Estimate), found
    return found


class TestSupply:
    def test_sag_under_a_load(self) -> None:
        t = np.arange(0, 40, 0.5)
        found = number(sag(volts(12.6 - 0.42 * ((t >= 20) & (t < 35)) + noise(80)), 20.0, 34.0))
        assert found.value == pytest.approx(0.42, abs=2 * found.u)
        assert found.u < 0.02

    def test_sag_needs_readings_on_both_sides(self) -> None:
        assert isinstance(sag(volts(12.6 + noise(40)), 1.0), NoEstimate)

    def test_ripple_as_far_as_the_rate_shows(self) -> None:
        t = np.arange(0, 30, 0.1)
        found = number(ripple(volts(13.5 + 0.15 * np.sin(2 * np.pi * 1.3 * t) + 0.002 * t, step_s=0.1)))
        assert found.value == pytest.approx(0.30, abs=0.02)
        assert found.notes[0].text == "only what is slower than 5.0 Hz is seen"

    def test_ripple_of_a_slow_link_is_not_seen(self) -> None:
        found = ripple(volts(13.5 + noise(60), step_s=1.0))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.RESOLUTION,)

    def test_time_to_limit(self) -> None:
        t = np.arange(0, 300, 1.0)
        found = time_to_limit(volts(12.8 - 0.02 * t / 60 + noise(300, 0.005), step_s=1.0), 12.4)
        assert isinstance(found, TimeToLimit)
        assert found.rate.value == pytest.approx(-0.02, abs=2 * found.rate.u)
        true_s = (12.8 - 0.02 * 299 / 60 - 12.4) / 0.02 * 60
        assert found.soonest_s is not None
        assert found.latest_s is not None
        assert found.soonest_s < true_s < found.latest_s

    def test_a_supply_that_rises_never_falls_to_the_limit(self) -> None:
        t = np.arange(0, 300, 1.0)
        found = time_to_limit(volts(12.8 + 0.05 * t / 60 + noise(300, 0.001), step_s=1.0), 12.4)
        assert isinstance(found, TimeToLimit)
        assert found.likely_s is None

    def test_a_constant_supply(self) -> None:
        found = time_to_limit(volts([12.8] * 60), 12.4)
        assert isinstance(found, TimeToLimit)
        assert found.likely_s is None
        assert found.rate.u > 0.0

    def test_two_readings(self) -> None:
        for estimator in (lambda s: sag(s, 1.0), ripple, lambda s: time_to_limit(s, 12.0)):
            assert isinstance(estimator(volts([12.5, 12.6])), NoEstimate)


def coolant(final: float, tau_s: float, seconds: int, start: float = 25.0) -> Series:
    t = np.arange(0, seconds, 2.0)
    values = np.floor(final - (final - start) * np.exp(-t / tau_s))
    return Series("coolant-temperature", "°C", tuple(t), tuple(values), 1.0)


class TestWarmUp:
    @pytest.mark.parametrize(("final", "tau_s"), [(95.0, 300.0), (110.0, 500.0), (140.0, 900.0), (200.0, 1500.0)])
    def test_the_interval_holds_first_order_courses(self, final: float, tau_s: float) -> None:
        for seconds in (150, 240, 320):
            found = forecast(coolant(final, tau_s, seconds), 80.0)
            assert isinstance(found, Forecast)
            true_s = tau_s * math.log((final - 25) / (final - 80)) - seconds + 2
            if true_s <= 0.0:
                continue
            assert found.soonest_s <= true_s <= (found.latest_s or math.inf)
            assert found.likely_s is not None
            assert found.soonest_s <= found.likely_s

    def test_the_sentence(self) -> None:
        found = forecast(coolant(95.0, 400.0, 240), 80.0)
        assert isinstance(found, Forecast)
        assert found.message.text.startswith("in about ")
        assert "between" in found.message.text

    def test_reached_is_now(self) -> None:
        found = forecast(coolant(95.0, 100.0, 600), 80.0)
        assert isinstance(found, Forecast)
        assert found.likely_s == 0.0

    def test_too_early_to_say(self) -> None:
        assert isinstance(forecast(coolant(95.0, 300.0, 30), 80.0), NoEstimate)
        flat = Series("coolant-temperature", "°C", tuple(range(200)), (60.0,) * 200, 1.0)
        assert isinstance(forecast(flat, 80.0), NoEstimate)

    def test_a_car_that_stood_cold(self) -> None:
        def at(kelvin: float) -> Estimate:
            parts = {"spread": 0.1, "resolution": 1 / math.sqrt(12), "accuracy": 1.0}
            return Estimate(kelvin, 1.1, "K", 20, 15.0, (0.0, 20.0), parts)

        found = cold_agreement((at(293.15), at(294.15), at(292.15)))
        assert found.value == pytest.approx(2.0)
        assert found.u == pytest.approx(math.sqrt(2 * 0.1**2 + 2 / 12)), "a sensor's own error is what is looked for"
        assert cold_agreement((at(318.15), at(294.15))).value == pytest.approx(24.0)


class TestLearned:
    @pytest.mark.parametrize(("value", "room"), [(50.0, 50.0), (12.0, 12.0), (100.0, 0.0), (104.0, -4.0)])
    def test_room_to_the_nearer_end(self, value: float, room: float) -> None:
        assert number(room_to_end(value, 0.1, 0.0, 100.0)).value == pytest.approx(room)

    @pytest.mark.parametrize("ends", [(0.0, 0.0), (5.0, 1.0), (math.nan, 1.0)])
    def test_without_a_window(self, ends: tuple[float, float]) -> None:
        found = room_to_end(1.0, 0.1, *ends)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.NO_TARGET,)

    def test_same_again(self) -> None:
        found = number(same_again((10.0, 10.4, 10.1), 0.1, "%"))
        assert (found.value, found.u) == (pytest.approx(0.4), pytest.approx(0.1 * math.sqrt(2)))
        assert isinstance(same_again((1.0,), 0.1, "%"), NoEstimate)
