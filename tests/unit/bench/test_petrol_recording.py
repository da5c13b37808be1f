"""The bench car beside a recorded real petrol car of the same kind: levels and noise lie within its range.

The recordings are read, never copied; where they are absent these tests skip. The recorded car cycles its air
conditioning, so its ranges hold both states.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock

Columns = dict[str, NDArray[np.float64]]

#: Signal -> column of the recording (its header misspells the first), PID and scaling of the bench's answer.
SIGNALS = {
    "run time": ("ENGINE_RUN_TINE ()", 0x1F, 1.0, 0.0),
    "speed": ("ENGINE_RPM ()", 0x0C, 0.25, 0.0),
    "throttle": ("THROTTLE ()", 0x11, 100 / 255, 0.0),
    "load": ("ENGINE_LOAD ()", 0x04, 100 / 255, 0.0),
    "manifold": ("INTAKE_MANIFOLD_PRESSURE ()", 0x0B, 1.0, 0.0),
    "coolant": ("COOLANT_TEMPERATURE ()", 0x05, 1.0, -40.0),
    "intake": ("INTAKE_AIR_TEMP ()", 0x0F, 1.0, -40.0),
    "spark": ("TIMING_ADVANCE ()", 0x0E, 0.5, -64.0),
    "supply": ("CONTROL_MODULE_VOLTAGE ()", 0x42, 0.001, 0.0),
    "short trim": ("SHORT_TERM_FUEL_TRIM_BANK_1 ()", 0x06, 100 / 128, -100.0),
    "long trim": ("LONG_TERM_FUEL_TRIM_BANK_1 ()", 0x07, 100 / 128, -100.0),
    "catalyst": ("CATALYST_TEMPERATURE_BANK1_SENSOR1 ()", 0x3C, 0.1, -40.0),
}


def read_recording(path: Path) -> Columns:
    """Whole rows of one recording, by signal."""
    with path.open(newline="") as handle:
        rows = list(csv.reader(handle))
    header = [name.strip() for name in rows[0]]
    whole = [row for row in rows[1:] if len(row) >= 27 and all(cell.strip() for cell in row[:27])]
    return {
        name: np.array([float(row[header.index(column)]) for row in whole]) for name, (column, *_) in SIGNALS.items()
    }


def drive_bench(seed: int, ambient_c: float, seconds: float, *, cooler: bool) -> Columns:
    """A cold start of the bench car left to idle, read twice a second through OBD."""
    clock = StepClock()
    car = PetrolCar(seed, ambient_c=ambient_c)
    car.attach(InLoopBus(clock), clock)
    car.act("key", position="on")
    clock.run_until(3.0)
    car.act("key", position="start")
    values: dict[str, list[float]] = {name: [] for name in SIGNALS}
    while clock.now() < seconds:
        clock.run_until(clock.now() + 0.5)
        if cooler and clock.now() == 500.0:
            car.act("load", name="cooler", on=True)
        for name, (_, pid, scale, offset) in SIGNALS.items():
            answer = car.engine.handle(bytes([0x01, pid]))
            assert answer is not None
            values[name].append(int.from_bytes(answer[2:], "big") * scale + offset)
    return {name: np.array(column) for name, column in values.items()}


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
    bench = [drive_bench(seed, 27.0, 640.0, cooler=seed == 1) for seed in (0, 1)]
    return Pair([read_recording(path) for path in files], bench)


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
