"""The recorded real cars: key-on rows, warm-up, whole seconds, held cells. Skipped where the recordings are absent.

Expected values: check values, section 6 (measured on the petrol car), and the description of the recordings.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from statistics import median

import pytest

from asleft.job.clock import LoopClock, run_virtual
from asleft.live.recordings import Recording, ReplaySignals, read_recording
from asleft.model.reading import Series

#: Leading rows with engine speed 0 while the run time stands at 0, counted with csv and a loop.
KEY_ON_ROWS = {"idle1": 14, "idle10": 6, "idle2": 0, "idle22": 6, "idle8": 10, "live9": 7}


@pytest.fixture(scope="module", params=sorted(KEY_ON_ROWS))
def petrol(request: pytest.FixtureRequest, checks: Path) -> tuple[str, Recording]:
    return request.param, read_recording(checks / "obdlogs" / "petrol" / f"{request.param}.csv")


@pytest.fixture(scope="module", params=["drive-normal", "drive-congested"])
def unthrottled(request: pytest.FixtureRequest, checks: Path) -> Recording:
    return read_recording(checks / "obdlogs" / "unthrottled" / f"{request.param}.csv")


def between(series: Series, start_s: float, stop_s: float) -> list[float]:
    return [v for t, v in zip(series.times_s, series.values, strict=True) if start_s <= t < stop_s]


def test_key_on_engine_off_rows_are_recognised(petrol: tuple[str, Recording]) -> None:
    name, recording = petrol
    assert recording.key_on_rows == KEY_ON_ROWS[name]
    if recording.key_on_rows:
        assert set(recording.key_on["engine-speed"]) == {0.0}
        assert recording.key_on["throttle-absolute"][0] == pytest.approx(17.65, abs=0.01)
        assert recording.key_on["accelerator-pedal-d"][0] == pytest.approx(16.08, abs=0.01)
        assert recording.key_on["accelerator-pedal-e"][0] == pytest.approx(31.76, abs=0.01)
        assert recording.key_on["manifold-pressure"][0] == pytest.approx(101, abs=1)
        assert 11.9 < recording.key_on["control-module-voltage"][0] < 12.7
    assert min(recording.signals["engine-speed"].values) > 0


def test_whole_seconds_are_bursts(petrol: tuple[str, Recording]) -> None:
    _, recording = petrol
    for series in recording.signals.values():
        assert series.u_time_s == 2.0
        assert all(time == int(time) for time in series.times_s)
        assert len(series) < 1.6 * len(set(series.times_s))


def test_warm_up_is_monotone_within_its_noise(petrol: tuple[str, Recording]) -> None:
    """Minute by minute the coolant does not fall by more than a step until it is warm."""
    name, recording = petrol
    coolant = recording.signals["coolant-temperature"]
    if coolant.values[0] > 60:
        pytest.skip("this recording begins hot")
    warm_s = next((t for t, v in zip(coolant.times_s, coolant.values, strict=True) if v >= 80), coolant.times_s[-1])
    minutes = [between(coolant, t, t + 60) for t in range(0, int(warm_s), 60)]
    middles = [median(part) for part in minutes if part]
    assert all(b >= a - 1.0 for a, b in pairwise(middles)), name
    assert middles[-1] - middles[0] > 30


def test_idle_as_measured(petrol: tuple[str, Recording]) -> None:
    """Warm idle 650 to 850 rpm, manifold 25 to 36 kPa, supply 13.5 to 13.9 V."""
    name, recording = petrol
    if name in {"live9", "idle8"}:
        pytest.skip("does not idle warm")
    stop = recording.stop_s
    assert 650 <= median(between(recording.signals["engine-speed"], stop - 60, stop)) <= 860
    assert 25 <= median(between(recording.signals["manifold-pressure"], stop - 60, stop)) <= 36
    assert 13.45 <= median(between(recording.signals["control-module-voltage"], stop - 60, stop)) < 13.95


def test_a_misspelt_header_a_cut_row_and_empty_lines(checks: Path) -> None:
    cut = read_recording(checks / "obdlogs" / "petrol" / "idle1.csv")
    assert "recording.cut-row" in {note.id for note in cut.notes}
    blank_end = read_recording(checks / "obdlogs" / "petrol" / "idle2.csv")
    assert "recording.cut-row" not in {note.id for note in blank_end.notes}


def test_held_cells_are_one_reading_a_turn(unthrottled: Recording) -> None:
    """Ten signals take turns in ten rows: each has about a tenth of the rows as readings of its own."""
    rows = max(len(series) for series in unthrottled.signals.values())
    assert rows < 2000
    for series in unthrottled.signals.values():
        steps = [b - a for a, b in pairwise(series.times_s)]
        assert 0.7 < median(steps) < 1.2
        assert 0.5 < series.u_time_s < 1.2


def test_sparse_first_rows_and_pauses(checks: Path) -> None:
    folder = checks / "obdlogs" / "unthrottled"
    normal, congested = (read_recording(folder / f"drive-{kind}.csv") for kind in ("normal", "congested"))
    assert normal.start_wall == "08:43:26.228"
    assert normal.signals["engine-speed"].times_s[0] > normal.signals["coolant-temperature"].times_s[0]
    assert normal.gaps == ()
    assert max(gap.stop_s - gap.start_s for gap in congested.gaps) == pytest.approx(603.87, abs=0.01)


def test_a_recording_plays_in_virtual_time(checks: Path) -> None:
    recording = read_recording(checks / "obdlogs" / "petrol" / "idle22.csv")

    async def work(clock: LoopClock) -> tuple[Series, ...]:
        signals = ReplaySignals(recording, clock)
        await clock.sleep_until(700.0)
        return await signals.record(["engine-speed", "coolant-temperature"], 120.0)

    speed, coolant = run_virtual(work)
    assert 40 < len(speed) < 120
    assert 600 < median(speed.values) < 860
    assert min(coolant.values) >= 80
