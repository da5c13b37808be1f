"""The bench car beside a recorded real petrol car of the same kind: levels and noise lie within its range.

The recordings are read, never copied; where they are absent these tests skip. The recorded car cycles its air
conditioning, so its ranges hold both states.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

Columns = dict[str, NDArray[np.float64]]

SCRIPT = Path(__file__).resolve().parents[3] / "scripts" / "plot_bench_against_recording.py"


def _script() -> ModuleType:
    """The script that draws the picture in the docs: it reads and drives as these tests do."""
    spec = importlib.util.spec_from_file_location("plot_bench_against_recording", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@dataclass(frozen=True)
class Pair:
    """Recorded and simulated cold starts."""

    recorded: list[Columns]
    bench: list[Columns]


@pytest.fixture(scope="module")
def pair(checks: Path) -> Pair:
    files = sorted((checks / "obdlogs" / "petrol").glob("idle*.csv"))
    if not files:
        pytest.skip(f"no petrol recordings under {checks}")
    script = _script()
    bench = [script.drive_bench(seed, 27.0, 640.0, cooler_at_s=500.0 if seed == 1 else None) for seed in (0, 1)]
    return Pair([script.read_recording(path) for path in files], bench)


def _rows(run: Columns, low_c: float, high_c: float) -> NDArray[np.bool_]:
    return (run["coolant"] >= low_c) & (run["coolant"] < high_c) & (run["speed"] > 400.0) & (run["run time"] > 3.0)


@pytest.mark.parametrize(("low_c", "high_c"), [(0.0, 40.0), (45.0, 70.0), (80.0, 120.0)])
@pytest.mark.parametrize("signal", ["speed", "manifold", "load", "supply", "spark", "short trim"])
def test_levels_lie_in_the_recorded_range(pair: Pair, signal: str, low_c: float, high_c: float):
    """Median of the bench, in three bands of coolant temperature, between the recorded 1st and 99th percentiles."""
    recorded = np.concatenate([run[signal][_rows(run, low_c, high_c)] for run in pair.recorded])
    low, high = np.percentile(recorded, [1.0, 99.0])
    for run in pair.bench:
        rows = _rows(run, low_c, high_c)
        assert rows.sum() > 20
        assert low <= np.median(run[signal][rows]) <= high


@pytest.mark.parametrize("signal", ["short trim", "long trim"])
def test_trims_lie_in_the_recorded_range(pair: Pair, signal: str):
    """Trims belong to the single car more than to its temperature: median against the extremes of all rows."""
    recorded = np.concatenate([run[signal][run["speed"] > 400.0] for run in pair.recorded])
    for run in pair.bench:
        assert recorded.min() <= np.median(run[signal][run["speed"] > 400.0]) <= recorded.max()


def _steady_spreads(run: Columns, signal: str) -> list[float]:
    spreads: list[float] = []
    time = run["run time"]
    for start in range(60, int(time.max()) - 30, 15):
        rows = (time >= start) & (time < start + 30)
        if rows.sum() > 30 and run["coolant"][rows].min() >= 80 and run["throttle"][rows].std() < 0.15:
            spreads.append(float(run[signal][rows].std()))
    return spreads


@pytest.mark.parametrize("signal", ["speed", "manifold", "load", "spark", "short trim", "supply"])
def test_noise_lies_in_the_recorded_range(pair: Pair, signal: str):
    """Spread within steady warm windows of 30 s: the bench's median between the recorded extremes."""
    recorded = [spread for run in pair.recorded for spread in _steady_spreads(run, signal)]
    assert len(recorded) >= 10
    ours = [spread for run in pair.bench for spread in _steady_spreads(run, signal)]
    assert len(ours) >= 10
    assert min(recorded) <= np.median(ours) <= max(recorded)


def _warm_up_s(run: Columns) -> float | None:
    if run["coolant"].max() < 75.0 or run["coolant"][0] > 40.0:
        return None
    return float(run["run time"][np.argmax(run["coolant"] >= 75)] - run["run time"][np.argmax(run["coolant"] >= 40)])


def test_warm_up_takes_as_long(pair: Pair):
    """From 40 to 75 °C at idle: within 15 % of the recorded extremes."""
    recorded = [seconds for run in pair.recorded if (seconds := _warm_up_s(run)) is not None]
    assert len(recorded) >= 3
    for run in pair.bench:
        seconds = _warm_up_s(run)
        assert seconds is not None
        assert 0.85 * min(recorded) <= seconds <= 1.15 * max(recorded)


def test_the_throttle_opens_further_when_cold_as_recorded(pair: Pair):
    """Cold less warm idle opening, % of the sensor's range: half to all of what was recorded (bore and span differ)."""

    def difference(run: Columns) -> float | None:
        cold, warm = _rows(run, 0.0, 40.0), _rows(run, 80.0, 120.0)
        if cold.sum() < 20 or warm.sum() < 20:
            return None
        return float(np.median(run["throttle"][cold]) - np.percentile(run["throttle"][warm], 10.0))

    recorded = [value for run in pair.recorded if (value := difference(run)) is not None]
    for run in pair.bench:
        value = difference(run)
        assert value is not None
        assert 0.5 * min(recorded) <= value <= max(recorded)


def test_the_air_conditioning_shows_as_on_the_recorded_car(pair: Pair):
    """Switched on at warm idle: speed and manifold pressure step up; both steps are in the recorded spread."""
    run = pair.bench[1]
    before = (run["run time"] > 440) & (run["run time"] < 490)
    after = (run["run time"] > 505) & (run["run time"] < 520)
    speed = np.median(run["speed"][after]) - np.median(run["speed"][before])
    pressure = np.median(run["manifold"][after]) - np.median(run["manifold"][before])
    assert 60.0 < speed < 250.0
    assert 1.0 < pressure < 14.0


def test_the_picture_in_the_docs_can_be_drawn(pair: Pair, tmp_path: Path):
    picture = tmp_path / "picture.svg"
    _script().draw(pair.recorded, pair.bench, picture)
    text = picture.read_text()
    assert text.count("<path") > 20
    assert "recorded" in text or "<use" in text
