"""Draw the bench car beside the recorded real petrol car: docs/pictures/bench-against-recording.svg.

    .venv/bin/python scripts/plot_bench_against_recording.py

The recordings are read from ASLEFT_CHECKS (default ../shared/checks) and only their range is drawn, not their rows.
"""

from __future__ import annotations

import csv
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock

REPO = Path(__file__).resolve().parents[1]
PICTURE = REPO / "docs" / "pictures" / "bench-against-recording.svg"

Columns = dict[str, NDArray[np.float64]]

#: Signal -> column of the recording (its header misspells the first), PID, step and offset of the bench's answer.
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

PANELS = (
    ("speed", "engine speed, 1/min"),
    ("manifold", "manifold pressure, kPa"),
    ("coolant", "coolant, °C"),
    ("supply", "supply, V"),
    ("short trim", "short-term trim, %"),
    ("long trim", "long-term trim, %"),
)


def read_recording(path: Path) -> Columns:
    """Whole rows of one recording, by signal."""
    with path.open(newline="") as handle:
        rows = list(csv.reader(handle))
    header = [name.strip() for name in rows[0]]
    whole = [row for row in rows[1:] if len(row) >= 27 and all(cell.strip() for cell in row[:27])]
    return {
        name: np.array([float(row[header.index(column)]) for row in whole]) for name, (column, *_) in SIGNALS.items()
    }


def drive_bench(seed: int, ambient_c: float, seconds: float, *, cooler_at_s: float | None = None) -> Columns:
    """A cold start of the bench car left to idle, read twice a second through OBD.

    Args: cooler_at_s: when the air conditioning is switched on, s; None: never.
    """
    clock = StepClock()
    car = PetrolCar(seed, ambient_c=ambient_c)
    car.attach(InLoopBus(clock), clock)
    car.act("key", position="on")
    clock.run_until(3.0)
    car.act("key", position="start")
    values: dict[str, list[float]] = {name: [] for name in SIGNALS}
    while clock.now() < seconds:
        clock.run_until(clock.now() + 0.5)
        if clock.now() == cooler_at_s:
            car.act("load", name="cooler", on=True)
        for name, (_, pid, scale, offset) in SIGNALS.items():
            answer = car.engine.handle(bytes([0x01, pid])) or b""
            values[name].append(int.from_bytes(answer[2:], "big") * scale + offset)
    return {name: np.array(column) for name, column in values.items()}


def _band(runs: Sequence[Columns], signal: str, edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lowest and highest recorded value in each bin of run time, shape (2, bins)."""
    time = np.concatenate([run["run time"] for run in runs])
    value = np.concatenate([run[signal] for run in runs])
    bins = [value[(time >= low) & (time < low + edges[1] - edges[0])] for low in edges[:-1]]
    return np.array([[part.min(), part.max()] if part.size else [np.nan, np.nan] for part in bins]).T


def draw(recorded: Sequence[Columns], bench: Sequence[Columns], picture: Path) -> None:
    """Six panels over run time: grey the recorded range of the cold starts, lines the bench's."""
    mpl.use("svg")
    mpl.rcParams.update(
        {"svg.hashsalt": "asleft", "font.size": 9, "axes.spines.top": False, "axes.spines.right": False}
    )
    from matplotlib import pyplot as plt  # noqa: PLC0415 - after the back end is chosen

    edges = np.arange(4.0, 600.0, 8.0)
    figure, axes = plt.subplots(3, 2, figsize=(9.0, 7.2), sharex=True, layout="constrained")
    for axis, (signal, label) in zip(axes.flat, PANELS, strict=True):
        low, high = _band(recorded, signal, edges)
        axis.fill_between(edges[:-1], low, high, color="#b9c2cc", step="post", label="recorded car, range")
        for number, run in enumerate(bench):
            rows = (run["run time"] > 3.0) & (run["run time"] < 600.0)
            axis.plot(run["run time"][rows][::5], run[signal][rows][::5], lw=0.8, label=f"bench car, seed {number}")
        axis.set_ylabel(label)
    for axis in axes[-1]:
        axis.set_xlabel("time since start, s")
    axes[0, 0].legend(frameon=False, fontsize=8)
    picture.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(picture, metadata={"Date": None})
    plt.close(figure)


def main() -> int:
    """Draw the picture; 1 when the recordings are not there."""
    folder = Path(os.environ.get("ASLEFT_CHECKS", REPO.parent / "shared" / "checks")) / "obdlogs" / "petrol"
    files = sorted(folder.glob("idle*.csv"))
    if not files:
        print(f"no recordings under {folder}; set ASLEFT_CHECKS", file=sys.stderr)
        return 1
    cold = [run for run in map(read_recording, files) if run["coolant"][0] < 40.0]
    draw(cold, [drive_bench(seed, 27.0, 610.0) for seed in range(3)], PICTURE)
    print(PICTURE.relative_to(REPO))
    return 0


if __name__ == "__main__":
    sys.exit(main())
