"""Proof on recorded real cars. Skipped where the recordings are absent.

Expected figures: check values, section 6 (measured on the petrol car: warm idle 650 to 850 rpm, one recording to 860).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from asleft.live.recordings import read_recording
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, Reason, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import IdleMean, IdleSpread, LimitData, TrackingSlope, TrimSum
from asleft.proof.dual import ratio_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.flow import flow_area
from asleft.proof.hunting import hunting
from asleft.proof.steady import mean
from asleft.proof.supply import ripple
from asleft.proof.warmup import Forecast, forecast

MEAN = IdleMean("mean", "Mean idle speed", "idle", LimitData("rpm", "ours", 600.0, 900.0))
SPREAD = IdleSpread("spread", "Spread of idle speed", "idle", LimitData("rpm", "ours", None, 15.0))
TRIMS = TrimSum("trims", "Fuel trims together", "idle", LimitData("%", "ours", -10.0, 10.0), seconds=45.0)
SLOPE = TrackingSlope("slope", "Slope", "idle", LimitData("1", "ours", 0.95, 1.05))


def saved(checks: Path, name: str) -> dict[str, tuple[Series, ...]]:
    recording = read_recording(checks / "obdlogs" / "petrol" / f"{name}.csv")
    return {"idle": tuple(recording.signals.values())}


def said(judgement: Judgement) -> str:
    assert judgement.sentence is not None
    return judgement.sentence.text


@pytest.mark.parametrize("name", ["idle1", "idle10", "idle22", "live9"])
def test_a_warm_idle_is_found_where_the_engine_idles_warm(checks: Path, name: str) -> None:
    recording = saved(checks, name)
    mean, spread, trims = (judge(c, recording) for c in (MEAN, SPREAD, TRIMS))
    assert (mean.verdict, spread.verdict) == (Verdict.PASS, Verdict.PASS)
    assert mean.value == pytest.approx(755, abs=110)
    assert spread.value is not None
    assert 1.0 < spread.value < 10.0
    assert mean.u is not None
    assert 0.5 < mean.u < 6.0
    assert 1.0 < mean.n_eff < mean.n
    assert trims.verdict is Verdict.PASS or "trim sum still changed by" in said(trims)
    by_signal = {s.signal: s for s in recording["idle"]}
    assert mean.window_s is not None
    inside = [
        (by_signal[signal].values[i])
        for signal in ("vehicle-speed",)
        for i, t in enumerate(by_signal[signal].times_s)
        if mean.window_s[0] <= t <= mean.window_s[1]
    ]
    assert set(inside) == {0.0}


def test_an_engine_that_never_gets_warm_gives_its_reason(checks: Path) -> None:
    j = judge(MEAN, saved(checks, "idle8"))
    assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (Reason.WINDOW,))
    assert "coolant temperature must be at least 80 °C, it was 27 to 73 °C" in said(j)


def test_an_idle_whose_load_steps_all_the_time_gives_its_reason(checks: Path) -> None:
    j = judge(SPREAD, saved(checks, "idle2"))
    assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (Reason.WINDOW,))
    assert "engine load must not step by more than 4 %" in said(j)


@pytest.mark.parametrize("name", ["idle1", "idle2", "idle8", "idle10", "idle22", "live9"])
def test_no_idle_recording_is_taken_for_a_sweep(checks: Path, name: str) -> None:
    assert judge(SLOPE, saved(checks, name)).verdict is Verdict.CANNOT_TELL


def test_the_unthrottled_car_has_no_commanded_throttle_to_track(checks: Path) -> None:
    recording = read_recording(checks / "obdlogs" / "unthrottled" / "drive-normal.csv")
    assert judge(SLOPE, {"idle": tuple(recording.signals.values())}).reasons == (Reason.UNSUPPORTED,)


WARM_UPS = ("petrol/idle1", "petrol/idle2", "petrol/idle22", "petrol/idle8", "petrol/live9", "unthrottled/drive-normal")


@pytest.mark.parametrize("name", WARM_UPS)
def test_warm_up_forecast_against_what_happened(checks: Path, name: str) -> None:
    """From every second degree above 38 °C to 60, 70 and 80 °C: the interval holds what happened."""
    coolant = read_recording(checks / "obdlogs" / f"{name}.csv").signals["coolant-temperature"]
    held = said = 0
    for target in (60.0, 70.0, 80.0):
        reached = next((t for t, v in zip(coolant.times_s, coolant.values, strict=True) if v >= target), None)
        for start in range(38, int(target) - 2, 2):
            at = next((i for i, v in enumerate(coolant.values) if v >= start), None)
            if reached is None or at is None:
                continue
            seen = replace(coolant, times_s=coolant.times_s[: at + 1], values=coolant.values[: at + 1])
            found = forecast(seen, target)
            if isinstance(found, Forecast):
                said += 1
                held += found.soonest_s <= reached - coolant.times_s[at] <= (found.latest_s or 1e9)
    assert said >= 15
    assert held / said >= 0.95


def test_hunting_is_not_claimed_from_readings_two_seconds_apart(checks: Path) -> None:
    found = hunting(read_recording(checks / "obdlogs" / "petrol" / "idle10.csv").signals["engine-speed"])
    assert isinstance(found, NoEstimate)
    assert found.reasons == (Reason.RESOLUTION,)


def test_the_unthrottled_engine_gets_no_flow_area(checks: Path) -> None:
    signals = read_recording(checks / "obdlogs" / "unthrottled" / "drive-normal.csv").signals

    def at_start(signal: str) -> Estimate:
        series = signals[signal]
        n = sum(t <= series.times_s[0] + 20.0 for t in series.times_s)
        found = mean(replace(series, times_s=series.times_s[:n], values=series.values[:n], gaps=0))
        assert isinstance(found, Estimate), found
        return found

    barometer = Estimate(98.0, 0.5, "kPa", 1, 1.0, (0.0, 0.0))
    found = flow_area(
        at_start("mass-air-flow"), barometer, at_start("intake-air-temperature"), at_start("manifold-pressure")
    )
    assert isinstance(found, NoEstimate)
    assert found.reasons == (Reason.ENVIRONMENT,)


def test_pedal_sensors_at_rest_keep_their_ratio(checks: Path) -> None:
    """Pedal D 16.08 %, E 31.76 % constant (check values, section 6): no travel, so no claim on their ratio."""
    signals = read_recording(checks / "obdlogs" / "petrol" / "idle1.csv").signals
    found = ratio_error(signals["accelerator-pedal-d"], signals["accelerator-pedal-e"], 0.5)
    assert isinstance(found, NoEstimate)


def test_supply_at_idle(checks: Path) -> None:
    """13.5 to 13.9 V at warm idle (check values, section 6)."""
    series = read_recording(checks / "obdlogs" / "petrol" / "idle22.csv").signals["control-module-voltage"]
    n = sum(t < series.times_s[-1] - 60 for t in series.times_s)
    found = mean(replace(series, times_s=series.times_s[n:], values=series.values[n:]))
    assert isinstance(found, Estimate)
    assert 13.45 < found.value < 13.95
    assert isinstance(ripple(series), NoEstimate)
