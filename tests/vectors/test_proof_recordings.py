"""Proof on recorded real cars. Skipped where the recordings are absent.

Expected figures: check values, section 6 (measured on the petrol car: warm idle 650 to 850 rpm, one recording to 860).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.live.recordings import read_recording
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, Reason, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import IdleMean, IdleSpread, LimitData, TrackingSlope, TrimSum

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
