"""Trials of the estimators on bench cars: what the modules say over service 01 against what the physics knows.

    .venv/bin/python scripts/proof_cars.py --cars 20        # about two minutes on one core

The truth is taken from the simulated parts between the readings, fifty times a second; the estimators only see
parameters, rounded as standard OBD rounds them. Used by tests and by measure_proof.py.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import proof_bench as bench

from asleft.model.reading import Series
from asleft.proof import steady
from asleft.proof.dual import sum_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.flow import flow_area
from asleft.proof.rest import rest_range
from asleft.proof.supply import TimeToLimit, sag_between, time_to_limit
from asleft.proof.tracking import Tracking, tracking
from asleft.proof.transient import Transient, transient
from asleft.proof.warmup import Forecast, forecast

FINE_S = 0.02
#: Switched on for the dip: the air conditioning would raise the idle's target.
_HEAVY = ("rear heater", "blower", "lamps")
#: Half-width of what the usual sensors may be off by in their own unit; common practice, no source (the catalogue's).
ACCURACY = {"flow": 0.12, "barometer": 1.0, "intake": 2.0, "manifold": 1.0, "volts": 0.1}
Found = Estimate | NoEstimate
Truths = dict[str, Callable[[bench.Watched], float]]


class Case(NamedTuple):
    """One number on one car: what was found and what is true."""

    estimator: str
    found: Found
    truth: float


def record(
    watched: bench.Watched,
    seconds: float,
    step_s: float,
    signals: tuple[str, ...],
    truths: Truths,
    act: Callable[[float], None] | None = None,
) -> tuple[bench.Seen, dict[str, np.ndarray]]:
    """Signals read in turn, and the truths on a fine grid beside them: columns of time and value."""
    clock, begin = watched.clock, watched.clock.now()
    read: dict[str, list[tuple[float, float]]] = {s: [] for s in signals}
    fine: dict[str, list[tuple[float, float]]] = {t: [] for t in truths}
    due, turn = begin, 0
    while clock.now() < begin + seconds:
        clock.run_until(clock.now() + FINE_S)
        if act is not None:
            act(clock.now() - begin)
        for name, truth in truths.items():
            fine[name].append((clock.now(), truth(watched)))
        if clock.now() >= due:
            signal = signals[turn % len(signals)]
            turn, due = turn + 1, due + step_s / len(signals)
            pid, scale, offset, _ = bench.PIDS[signal]
            answer = watched.answer(bytes([0x01, pid]))
            if answer[:1] == b"\x41":
                read[signal].append((clock.now(), int.from_bytes(answer[2:], "big") * scale + offset))
    return {s: _series(s, points) for s, points in read.items()}, {t: np.array(p) for t, p in fine.items()}


def _series(signal: str, points: list[tuple[float, float]]) -> Series:
    _, scale, _, unit = bench.PIDS[signal]
    times, values = tuple(t for t, _ in points), tuple(v for _, v in points)
    return Series(signal, unit, times, values, scale, ACCURACY.get(signal, 0.0))


def _rpm(watched: bench.Watched) -> float:
    return float(watched.car.powertrain.crank.rpm)


def _volts(watched: bench.Watched) -> float:
    return float(watched.car.powertrain.module_v)


def _area(watched: bench.Watched) -> float:
    return 1e6 * float(watched.car.powertrain.throttle.area_m2)


def _plate(watched: bench.Watched) -> float:
    plate = watched.car.powertrain.throttle
    return float(plate.reading_a(plate.angle_deg))


def _sum(watched: bench.Watched) -> float:
    return _plate(watched) + float(watched.car.powertrain.throttle.sensor_b)


def _worst(true: dict[str, np.ndarray]) -> float:
    """Mean departure of the sum from 100 % in the worst fifth of the travel: what the estimator is to say."""
    a, apart = true["a"][:, 1], true["sum"][:, 1] - 100.0
    part = np.minimum(((a - a.min()) / np.ptp(a) * 5.0).astype(int), 4)
    return max(abs(float(apart[part == k].mean())) for k in range(5) if (part == k).any())


def cases(seed: int) -> Iterator[Case]:
    """Everything on one car: key on, sweep, rests, a cold start, warm-up, idle, a load."""
    watched = bench.Watched(seed)
    car, clock = watched.car, watched.clock
    car.act("key", position="on")
    clock.run_until(clock.now() + 120.0)
    yield from _engine_off(watched, seed)
    car.act("key", position="start")
    clock.run_until(clock.now() + 60.0)
    seen, true = record(
        watched, 500.0, 1.0, ("coolant",), {"t": lambda w: float(w.car.powertrain.temperatures.sensed_c)}
    )
    yield from _warming(seen["coolant"], true["t"])
    clock.run_until(clock.now() + 300.0)
    yield from _idling(watched)
    yield from _loaded(watched)


def _engine_off(watched: bench.Watched, seed: int) -> Iterator[Case]:
    car = watched.car
    seen, true = record(watched, 150.0, 0.7, ("volts",), {"v": _volts})
    yield Case("supply, engine off", steady.mean(seen["volts"]), float(true["v"][:, 1].mean()))
    course = time_to_limit(seen["volts"], 11.0)
    slope = 60.0 * float(np.polyfit(true["v"][:, 0], true["v"][:, 1], 1)[0])
    yield Case("fall of the supply", course.rate if isinstance(course, TimeToLimit) else course, slope)

    def sweep(t: float) -> None:
        car.act("pedal", percent=float(np.interp(t, [0, 2, 10, 12, 20, 24], [0, 0, 70, 70, 0, 0])))

    size = 3.0 + 0.4 * (seed % 10)
    seen, _ = record(watched, 24.0, 0.24, ("command", "plate", "plate-b"), {}, sweep)
    fit = tracking(seen["plate"], seen["command"])
    yield Case("tracking slope", fit.slope if isinstance(fit, Tracking) else fit, 1.0)
    before = watched.car.powertrain.throttle.skew_b_pct
    watched.car.powertrain.throttle.skew_b_pct = before + size
    seen, true = record(watched, 24.0, 0.24, ("plate", "plate-b"), {"a": _plate, "sum": _sum}, sweep)
    watched.car.powertrain.throttle.skew_b_pct = before
    yield Case("sum of two sensors", sum_error(seen["plate"], seen["plate-b"], 100.0), _worst(true))
    rests, places = [], []
    for _ in range(5):
        car.act("key", position="off")
        watched.clock.run_until(watched.clock.now() + 20.0)
        car.act("key", position="on")
        watched.clock.run_until(watched.clock.now() + 4.0)
        plate = car.powertrain.throttle
        places.append(plate.reading_a(plate.angle_deg))
        rests.append(watched.record(3.0, 0.3, ("plate",))["plate"])
    yield Case("rest range over 5 key cycles", rest_range(rests, cycles=5), max(places) - min(places))


def _warming(coolant: Series, true: np.ndarray) -> Iterator[Case]:
    """A forecast when 15 K are missing to 75 °C; held when the interval has the true time."""
    values, times = np.asarray(coolant.values), np.asarray(coolant.times_s)
    now = int(np.argmax(values >= 60.0))
    reached = true[np.argmax(true[:, 1] >= 75.0), 0] if (true[:, 1] >= 75.0).any() else np.nan
    if now == 0 or not np.isfinite(reached):
        return
    part = Series(coolant.signal, coolant.unit, tuple(times[: now + 1]), tuple(values[: now + 1]), coolant.resolution)
    told = forecast(part, 75.0)
    if isinstance(told, Forecast) and told.likely_s is not None and told.latest_s is not None:
        middle = (told.soonest_s + told.latest_s) / 2.0
        u = (told.latest_s - told.soonest_s) / 4.0
        yield Case("warm-up forecast", Estimate(middle, u, "s", now, 1.0, (0.0, 0.0)), reached - times[now])


def _idling(watched: bench.Watched) -> Iterator[Case]:
    seen, true = record(watched, 45.0, 0.2, ("speed",), {"n": _rpm})
    speed = true["n"][:, 1]
    yield Case("mean of idle speed", steady.mean(seen["speed"]), float(speed.mean()))
    yield Case("spread of idle speed", steady.spread(seen["speed"]), float(speed.std()))
    signals = ("flow", "barometer", "intake", "manifold", "volts")
    seen, true = record(watched, 60.0, 1.0, signals, {"area": _area, "v": _volts})
    yield Case("supply, running", steady.mean(seen["volts"]), float(true["v"][:, 1].mean()))
    means = [steady.mean(seen[s]) for s in signals[:4]]
    good = [m for m in means if isinstance(m, Estimate)]
    area = flow_area(*good) if len(good) == 4 else next(m for m in means if isinstance(m, NoEstimate))
    yield Case("total flow area", area, float(true["area"][:, 1].mean()))


def _loaded(watched: bench.Watched) -> Iterator[Case]:
    without, a = record(watched, 20.0, 0.5, ("volts",), {"v": _volts})
    on: list[float] = []

    def lamps(t: float) -> None:
        if t >= 10.0 and not on:
            on.append(watched.clock.now())
            for name in _HEAVY:
                watched.car.act("load", name=name, on=True)

    seen, true = record(watched, 28.0, 0.2, ("speed",), {"n": _rpm}, lamps)
    found = transient(seen["speed"], on[0])
    t, n = true["n"].T
    level = float(n[(t >= on[0] - 5.0) & (t < on[0])].mean())
    after = (t >= on[0]) & (t <= on[0] + 15.0)
    dip = found.dip if isinstance(found, Transient) else found
    yield Case("dip after a load", dip, max(0.0, level - float(n[after].min())))
    for name in _HEAVY:
        watched.car.act("load", name=name, on=False)
    watched.clock.run_until(watched.clock.now() + 30.0)
    watched.car.act("load", name="lamps", on=True)
    watched.clock.run_until(watched.clock.now() + 10.0)
    loaded, b = record(watched, 20.0, 0.5, ("volts",), {"v": _volts})
    truth = float(a["v"][:, 1].mean() - b["v"][:, 1].mean())
    yield Case("sag of the supply", sag_between(without["volts"], loaded["volts"]), truth)


def held(case: Case) -> bool:
    """Whether value ± 2 u holds the truth."""
    return isinstance(case.found, Estimate) and abs(case.found.value - case.truth) <= case.found.expanded


def main() -> None:
    """Print a line for each estimator: how many cars gave a number, how many intervals held the truth."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cars", type=int, default=20)
    parser.add_argument("--first", type=int, default=71)
    parser.add_argument("--all", action="store_true", help="every number")
    asked = parser.parse_args()
    rows: dict[str, list[Case]] = {}
    for seed in range(asked.first, asked.first + asked.cars):
        for case in cases(seed):
            rows.setdefault(case.estimator, []).append(case)
            if asked.all:
                found = case.found
                shown = (
                    f"{found.value:.4g} ± {found.expanded:.2g}" if isinstance(found, Estimate) else found.message.text
                )
                print(seed, case.estimator, shown, f"{case.truth:.4g}", "" if held(case) else "MISSED", flush=True)
    for name, tried in rows.items():
        numbers = [c for c in tried if isinstance(c.found, Estimate)]
        print(f"{name}: {len(tried)} cars, {len(numbers)} numbers, {sum(map(held, numbers))} intervals hold the truth")


if __name__ == "__main__":
    main()
