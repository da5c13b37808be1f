"""Trials of the estimators: made-up signals of known truth. Used by tests and measure_proof.py.

Nothing here is shared with the estimators: noise is shaped in the frequency domain (the estimators think in
autoregressive processes), quantised, read at jittering times, all trials of a kind at once. The only thing taken from
``asleft`` is what is tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.stats import beta

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import (
    Criterion,
    IdleMean,
    IdleSpread,
    LimitData,
    RestRange,
    TrackingResidual,
    TrackingSlope,
    ZeroAtRest,
)
from asleft.proof.decide import decide
from asleft.proof.dual import sum_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.flow import flow_area
from asleft.proof.hunting import Hunting, hunting
from asleft.proof.paired import difference
from asleft.proof.rest import rest_range
from asleft.proof.steady import mean, spread
from asleft.proof.steering import Straight, straight_offset
from asleft.proof.supply import TimeToLimit, sag, time_to_limit
from asleft.proof.tracking import Tracking, tracking
from asleft.proof.zero import Stillness, TwoHeadings, two_headings, zero_at_rest

Q8 = 100.0 / 255.0
Found = Estimate | NoEstimate


def shaped(rng: np.random.Generator, trials: int, n: int, step_s: float, corner_hz: float, white: float) -> np.ndarray:
    """Noise of variance 1: a low-pass part with this corner and a white part of this share of the variance."""
    long = 4 * n
    spectrum = np.fft.rfft(rng.standard_normal((trials, long)), axis=1)
    gain = 1.0 / np.sqrt(1.0 + (np.fft.rfftfreq(long, step_s) / corner_hz) ** 2)
    slow = np.fft.irfft(spectrum * gain, long, axis=1)[:, :n]
    slow /= math.sqrt(float(np.sum(gain**2) * 2.0 - gain[0] ** 2 - gain[-1] ** 2) / long)
    return math.sqrt(1.0 - white) * slow + math.sqrt(white) * rng.standard_normal((trials, n))


def times(rng: np.random.Generator, trials: int, n: int, step_s: float, jitter: float = 0.2) -> np.ndarray:
    """Reading times with polling jitter."""
    return np.cumsum(step_s * rng.uniform(1.0 - jitter, 1.0 + jitter, (trials, n)), axis=1)


def stepped(values: np.ndarray, q: float) -> np.ndarray:
    """Rounded to steps."""
    return np.round(values / q) * q if q else values


def series(signal: str, unit: str, t: np.ndarray, v: np.ndarray, q: float, accuracy: float = 0.0) -> Series:
    """One row of a trial as a saved series."""
    return Series(signal, unit, tuple(t.tolist()), tuple(v.tolist()), q, accuracy)


@dataclass(frozen=True)
class Kind:
    """One estimator under trial.

    Attributes:
        name: for the table. noise: in words. run: rng, number of trials -> (found, truth) one after the other.
    """

    name: str
    noise: str
    run: Callable[[np.random.Generator, int], Iterator[tuple[Found, float]]]


def _idle(
    rng: np.random.Generator, trials: int, corner_hz: float, white: float, step_s: float, sd: float = 8.0
) -> tuple[np.ndarray, np.ndarray]:
    n = int(45 / step_s)
    t = times(rng, trials, n, step_s)
    return t, stepped(750.0 + sd * shaped(rng, trials, n, step_s, corner_hz, white), 0.25)


def _means(corner_hz: float, white: float, step_s: float) -> Callable[..., Iterator[tuple[Found, float]]]:
    def run(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
        t, v = _idle(rng, trials, corner_hz, white, step_s)
        for i in range(trials):
            yield mean(series("engine-speed", "rpm", t[i], v[i], 0.25)), 750.0

    return run


def _spreads(corner_hz: float, white: float, step_s: float) -> Callable[..., Iterator[tuple[Found, float]]]:
    def run(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
        t, v = _idle(rng, trials, corner_hz, white, step_s)
        for i in range(trials):
            yield spread(series("engine-speed", "rpm", t[i], v[i], 0.25)), 8.0

    return run


def _rests(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    places = (
        14.0 + rng.uniform(0, 1, (trials, 1)) + rng.uniform(0, 1.6, (trials, 1)) * rng.uniform(-0.5, 0.5, (trials, 5))
    )
    for row in places:
        noise = 0.03 * rng.standard_normal((5, 10))
        read = stepped(row[:, None] + noise, Q8)
        rests = [series("throttle-absolute", "%", np.arange(10) * 0.3 + 20 * k, read[k], Q8) for k in range(5)]
        yield rest_range(rests, cycles=5), float(np.ptp(row))


def _sweeps(
    rng: np.random.Generator, trials: int, slope: np.ndarray, noise: float = 0.15
) -> Iterator[tuple[Series, Series]]:
    n, step_s = 100, 0.2
    t = times(rng, trials, n, step_s)
    top, delay = rng.uniform(45, 85, trials), rng.uniform(0.0, 0.15, trials)
    left = noise * shaped(rng, trials, n, step_s, 0.5, 0.5)
    for i in range(trials):
        knots, levels = [0, 1.5, 9, 10.5, 18, 30], [5, 5, top[i], top[i], 5, 5]
        command = np.interp(t[i], knots, levels)
        later = t[i] + rng.uniform(0.03, 0.12)
        actual = 4.0 + slope[i] * np.interp(later - delay[i], knots, levels) + left[i]
        yield (
            series("throttle-absolute", "%", later, stepped(actual, Q8), Q8),
            series("throttle-commanded", "%", t[i], stepped(command, Q8), Q8),
        )


def _slopes(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    slope = rng.uniform(0.85, 1.15, trials)
    for k, (a, c) in enumerate(_sweeps(rng, trials, slope)):
        found = tracking(a, c)
        yield (found.slope if isinstance(found, Tracking) else found), float(slope[k])


def _residuals(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    truth = math.sqrt(0.7**2 + Q8**2 / 12.0 * (1.0 + 2.0 / 3.0))
    for a, c in _sweeps(rng, trials, np.ones(trials), 0.7):
        found = tracking(a, c)
        yield (found.residual if isinstance(found, Tracking) else found), truth


def _rhythms(amplitude: float, hz: float) -> Callable[..., Iterator[tuple[Found, float]]]:
    def run(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
        n, step_s = 240, 0.2
        t = times(rng, trials, n, step_s)
        phase = rng.uniform(0, 2 * np.pi, (trials, 1))
        v = 750 + amplitude * np.sin(2 * np.pi * hz * t + phase) + 7 * shaped(rng, trials, n, step_s, 0.4, 0.4)
        v = stepped(v, 0.25)
        for i in range(trials):
            found = hunting(series("engine-speed", "rpm", t[i], v[i], 0.25))
            yield (found.amplitude if isinstance(found, Hunting) else found), amplitude

    return run


def _air(rng: np.random.Generator, trials: int, g_s: float) -> list[tuple[Estimate, Estimate, Estimate, Estimate]]:
    n, step_s = 60, 0.5
    t = times(rng, trials, n, step_s)
    flow = stepped(g_s * (1 + 0.02 * shaped(rng, trials, n, step_s, 0.3, 0.5)), 0.01)
    pressure = stepped(32.3 + 0.5 * shaped(rng, trials, n, step_s, 0.3, 0.5), 1.0)
    intake = stepped(30.0 + rng.uniform(-0.5, 0.5, (trials, 1)) + 0.1 * rng.standard_normal((trials, n)), 1.0)
    out = []
    for i in range(trials):
        columns = (
            ("mass-air-flow", "g/s", flow[i], 0.01),
            ("barometric-pressure", "kPa", np.full(n, 100.0), 1.0),
            ("intake-air-temperature", "°C", intake[i], 1.0),
            ("manifold-pressure", "kPa", pressure[i], 1.0),
        )
        out.append(tuple(mean(series(s, u, t[i], v, q)) for s, u, v, q in columns))
    return out


def _area_of(g_s: float) -> float:
    """Choked flow written out: ṁ √(R T) / (p Ψ), mm²."""
    psi = math.sqrt(1.4) * (2 / 2.4) ** 3.0
    return 1e6 * g_s * 1e-3 * math.sqrt(287.05 * 303.15) / (100e3 * psi)


def _areas(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    for inputs in _air(rng, trials, 2.5):
        yield flow_area(*inputs), _area_of(2.5)


def _area_changes(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    for a, b in zip(_air(rng, trials, 2.5), _air(rng, trials, 3.0), strict=True):
        before, after = flow_area(*a), flow_area(*b)
        assert isinstance(before, Estimate)
        assert isinstance(after, Estimate)
        yield difference(before, after), _area_of(3.0) - _area_of(2.5)


def _pairs(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 120, 0.15
    t = times(rng, trials, n, step_s)
    off = rng.uniform(0.5, 6.0, trials) * rng.choice([-1.0, 1.0], trials)
    noise = 0.15 * shaped(rng, trials, n, step_s, 0.5, 0.6)
    knots, levels = [0, 1, 8, 9, 16, 30], [12, 12, 80, 80, 12, 12]
    for i in range(trials):
        first, later = np.interp(t[i], knots, levels), t[i] + 0.05
        second = 100.0 + off[i] - np.interp(later, knots, levels) + noise[i]
        a = series("throttle-absolute", "%", t[i], stepped(first, Q8), Q8)
        b = series("throttle-absolute-b", "%", later, stepped(second, Q8), Q8)
        yield sum_error(a, b, 100.0), abs(float(off[i]))


STILL = Stillness(0.1, 0.02)


def _zeros(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 200, 0.05
    t = times(rng, trials, n, step_s, 0.05)
    truth = rng.uniform(-0.3, 0.3, trials)
    noise = 0.06 * shaped(rng, trials, n, step_s, 2.0, 0.7) + 0.01 * shaped(rng, trials, n, step_s, 0.05, 0.0)
    for i in range(trials):
        v = stepped(truth[i] + noise[i], 0.01)
        yield zero_at_rest(series("yaw-rate", "°/s", t[i], v, 0.01), STILL), float(truth[i])


def _headings(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 200, 0.05
    for _ in range(trials):
        bias, floor, marks = rng.uniform(-0.4, 0.4), rng.uniform(-2, 2), rng.uniform(-0.1, 0.1, 2)
        found = []
        for sign, mark in ((1, marks[0]), (-1, marks[1])):
            g = 9.80665 * math.sin(math.radians(sign * floor + mark))
            v = bias + g + 0.03 * shaped(rng, 1, n, step_s, 2.0, 0.5)[0]
            found.append(zero_at_rest(series("a", "m/s²", np.arange(n) * step_s, stepped(v, 0.01), 0.01), STILL))
        both = two_headings(*found) if all(isinstance(f, Estimate) for f in found) else found[0]
        yield (both.bias if isinstance(both, TwoHeadings) else both), float(bias)


def _straights(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 900, 0.1
    t = np.arange(n) * step_s
    truth, yaw_off = rng.uniform(-2, 2, trials), 0.05 * rng.standard_normal(trials)
    yaw = 0.15 * shaped(rng, trials, n, step_s, 0.08, 0.0)
    hands = 0.25 * shaped(rng, trials, n, step_s, 0.3, 0.3)
    kmh = 60.0 + 6.0 * shaped(rng, trials, n, step_s, 0.02, 0.0)
    for i in range(trials):
        v = kmh[i] / 3.6
        angle = truth[i] + 15 * (2.7 + 0.0025 * v**2) / v * yaw[i] + hands[i]
        read = yaw[i] + yaw_off[i] + 0.02 * rng.standard_normal(n)
        found = straight_offset(
            series("steering-angle", "°", t, stepped(angle, 0.1), 0.1),
            series("yaw-rate", "°/s", t + 0.01, stepped(read, 0.01), 0.01),
            series("vehicle-speed", "km/h", t + 0.02, stepped(kmh[i], 1.0), 1.0),
        )
        yield (found.offset if isinstance(found, Straight) else found), float(truth[i])


def _sags(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 80, 0.5
    t = times(rng, trials, n, step_s)
    depth = rng.uniform(0.1, 0.9, trials)
    v = 12.7 + 0.02 * shaped(rng, trials, n, step_s, 0.3, 0.6) - depth[:, None] * (t >= 20.0)
    for i in range(trials):
        yield sag(series("v", "V", t[i], stepped(v[i], 0.01), 0.01), 20.0), float(depth[i])


def _rates(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 200, 1.0
    t = times(rng, trials, n, step_s)
    rate = rng.uniform(-0.1, 0.1, trials)
    v = 12.7 + rate[:, None] * t / 60.0 + 0.015 * shaped(rng, trials, n, step_s, 0.1, 0.5)
    for i in range(trials):
        found = time_to_limit(series("v", "V", t[i], stepped(v[i], 0.01), 0.01), 12.0)
        yield (found.rate if isinstance(found, TimeToLimit) else found), float(rate[i])


KINDS: tuple[Kind, ...] = (
    Kind("mean of idle speed, 5 Hz", "corner 0.4 Hz, 30 % white", _means(0.4, 0.3, 0.2)),
    Kind("mean of idle speed, 5 Hz", "corner 0.1 Hz, 50 % white", _means(0.1, 0.5, 0.2)),
    Kind("mean of idle speed, 2 Hz", "corner 0.3 Hz, 20 % white", _means(0.3, 0.2, 0.5)),
    Kind("spread of idle speed, 5 Hz", "corner 0.4 Hz, 30 % white", _spreads(0.4, 0.3, 0.2)),
    Kind("spread of idle speed, 2 Hz", "corner 0.3 Hz, 20 % white", _spreads(0.3, 0.2, 0.5)),
    Kind("rest range over 5 key cycles", "8 bits, 0.03 %", _rests),
    Kind("tracking slope", "8 bits, 0.15 %, delay 0 to 0.15 s", _slopes),
    Kind("tracking remainder", "8 bits, 0.7 %", _residuals),
    Kind("hunting amplitude 20 rpm", "0.5 Hz in 7 rpm", _rhythms(20.0, 0.5)),
    Kind("hunting amplitude 6 rpm", "0.9 Hz in 7 rpm", _rhythms(6.0, 0.9)),
    Kind("total flow area", "2 % of the flow", _areas),
    Kind("change of total flow area", "2 % of the flow", _area_changes),
    Kind("sum of two sensors", "8 bits, 0.15 %", _pairs),
    Kind("zero at rest", "0.06 °/s, slow wander 0.01 °/s", _zeros),
    Kind("bias by two headings", "marks ± 0.1°, 0.03 m/s²", _headings),
    Kind("steering offset, one direction", "hands 0.25°, yaw offset 0.05 °/s", _straights),
    Kind("sag of the supply", "0.02 V", _sags),
    Kind("fall of the supply", "0.015 V", _rates),
)


@dataclass(frozen=True)
class Tried:
    """Results of one kind.

    Attributes:
        trials: how many. numbers: how many gave a number. held: intervals that held the truth. middle_u: median u.
        false_pass: PASS with the truth on the limit. decided: PASS with the truth 3.5 u inside it.
    """

    trials: int
    numbers: int
    held: int
    middle_u: float
    false_pass: int
    decided: int


def tried(kind: Kind, trials: int, seed: int = 1) -> Tried:
    """Coverage of value ± 2 u, and what the guarded rule does with a limit on the truth and 3.5 u beyond it."""
    found = list(kind.run(np.random.default_rng(seed), trials))
    numbers = [(e, truth) for e, truth in found if isinstance(e, Estimate)]
    middle = float(np.median([e.u for e, _ in numbers])) if numbers else math.nan
    return Tried(
        trials,
        len(numbers),
        sum(abs(e.value - truth) <= e.expanded for e, truth in numbers),
        middle,
        sum(_passes(e, truth) for e, truth in numbers),
        sum(_passes(e, truth + 3.5 * e.u) for e, truth in numbers),
    )


def _passes(estimate: Estimate, limit: float) -> bool:
    limits = Limits(None, limit, estimate.unit, LimitOwner.OURS)
    return decide("c", "c", estimate, limits).verdict is Verdict.PASS


# -- faults that the estimators do not know ---------------------------------------------------------------------------

MEAN = IdleMean("mean", "Mean", "idle", LimitData("rpm", "ours", 700.0, 800.0), gates=())
SPREAD = IdleSpread("spread", "Spread", "idle", LimitData("rpm", "ours", None, 15.0), gates=())
REST = RestRange("rest", "Rest", "rest", LimitData("%", "ours", None, 1.2))
SLOPE = TrackingSlope("slope", "Slope", "sweep", LimitData("1", "ours", 0.95, 1.05))
REMAINS = TrackingResidual("remains", "Remains", "sweep", LimitData("%", "ours", None, 0.8))
ZERO = ZeroAtRest("zero", "Zero", "rest", LimitData("°/s", "ours", -0.2, 0.2), "yaw-rate", 0.1, 0.02)

Saved = dict[str, tuple[Series, ...]]
Maker = Callable[[np.random.Generator], Saved]


def _bad_idle(rng: np.random.Generator, speed: float = 830.0, sd: float = 8.0) -> tuple[np.ndarray, np.ndarray]:
    t, v = _idle(rng, 1, 0.4, 0.3, 0.2, sd)
    return t[0], v[0] - 750.0 + speed


def _saved_idle(t: np.ndarray, v: np.ndarray, **more: object) -> Saved:
    return {"idle": (Series("engine-speed", "rpm", tuple(t.tolist()), tuple(stepped(v, 0.25).tolist()), 0.25, **more),)}  # type: ignore[arg-type]


def _fan(rng: np.random.Generator) -> Saved:
    t, v = _bad_idle(rng)
    period, phase = rng.uniform(12, 40), rng.uniform(0, 40)
    return _saved_idle(t, v - rng.uniform(20, 60) * (((t + phase) % period) < period / 2))


def _frozen(rng: np.random.Generator) -> Saved:
    t, v = _bad_idle(rng)
    begin, value = rng.uniform(0, 20), rng.uniform(720, 780)
    return _saved_idle(t, np.where(t > begin, value, v))


def _drifting(rng: np.random.Generator) -> Saved:
    """Sinks into the window's middle from above: what it will be afterwards is outside on the other side."""
    t, v = _bad_idle(rng, 750.0)
    return _saved_idle(t, v + rng.uniform(60, 120) * (0.5 - t / t[-1]) * 2.0)


def _outliers(rng: np.random.Generator) -> Saved:
    t, v = _bad_idle(rng)
    wild = rng.random(len(t)) < rng.uniform(0.02, 0.1)
    return _saved_idle(t, np.where(wild, v - rng.uniform(100, 700, len(t)), v))


def _gaps(rng: np.random.Generator) -> Saved:
    """What is high is missing: the link is busy whenever the engine is."""
    t, v = _bad_idle(rng, 815.0, 12.0)
    keep = (v < 812.0) | (rng.random(len(t)) < 0.3)
    return _saved_idle(t[keep], v[keep], gaps=int((~keep).sum()))


def _rough_outliers(rng: np.random.Generator) -> Saved:
    t, v = _bad_idle(rng, 750.0, 22.0)
    return _saved_idle(t, np.where(rng.random(len(t)) < 0.05, 750.0, v))


def _held_twice(rng: np.random.Generator) -> Saved:
    """A gateway that repeats old values: each reading said several times."""
    t, v = _bad_idle(rng, 750.0, 21.0)
    block = int(rng.integers(2, 8))
    return _saved_idle(t, np.repeat(v[::block], block)[: len(t)] if len(v[::block]) * block >= len(t) else v)


def _rocking(rng: np.random.Generator) -> Saved:
    n = 200
    t = np.arange(n) * 0.05
    rock = rng.uniform(0.02, 0.4) * np.sin(2 * np.pi * rng.uniform(0.05, 1.0) * t + rng.uniform(0, 6.3))
    v = rng.choice([-1, 1]) * 0.28 + rock * np.exp(-t / rng.uniform(3, 30)) + 0.05 * rng.standard_normal(n)
    return {"rest": (series("yaw-rate", "°/s", t, stepped(v, 0.01), 0.01),)}


def _wandering_zero(rng: np.random.Generator) -> Saved:
    n = 200
    t = np.arange(n) * 0.05
    v = 0.28 + rng.choice([-1, 1]) * rng.uniform(0.0, 0.02) * (t - 5.0) + 0.05 * rng.standard_normal(n)
    return {"rest": (series("yaw-rate", "°/s", t, stepped(v, 0.01), 0.01),)}


def _skewed(rng: np.random.Generator) -> Saved:
    """A slope that is wrong, and times of one signal off by up to 0.4 s."""
    slope = np.array([rng.choice([0.92, 1.08])])
    a, c = next(_sweeps(rng, 1, slope))
    moved = rng.uniform(-0.4, 0.4)
    shifted = Series(a.signal, a.unit, tuple(x + moved for x in a.times_s), a.values, a.resolution)
    return {"sweep": (shifted, c)}


def _sticking(rng: np.random.Generator) -> Saved:
    """A plate that sticks and jumps while it follows on the whole."""
    a, c = next(_sweeps(rng, 1, np.ones(1), 0.1))
    v, size = np.asarray(a.values), rng.uniform(4.0, 8.0)
    stuck = np.round(v / size) * size
    return {"sweep": (series(a.signal, "%", np.asarray(a.times_s), stepped(stuck, Q8), Q8), c)}


def _rest_outlier(rng: np.random.Generator) -> Saved:
    """One of five rests is 2 % away; two of its ten readings are of the old place."""
    out: Saved = {}
    odd = int(rng.integers(0, 5))
    for k in range(5):
        v = np.full(10, 14.0 + (2.0 if k == odd else 0.0)) + 0.03 * rng.standard_normal(10)
        out[f"rest/{k + 1}"] = (series("throttle-absolute", "%", np.arange(10) * 0.3 + 20 * k, stepped(v, Q8), Q8),)
    return out


#: Name, what is bad, criterion, maker. In every one of them PASS is wrong.
FAULTS: tuple[tuple[str, str, Criterion, Maker], ...] = (
    ("cycling fan", "idle 30 rpm too high, fan pulls it down half of the time", MEAN, _fan),
    ("frozen signal", "idle 30 rpm too high, reading freezes at a good value", MEAN, _frozen),
    ("drift", "idle sweeps from 60 to 120 rpm above to as much below", MEAN, _drifting),
    ("outliers", "idle 30 rpm too high, 2 to 10 % wild low readings", MEAN, _outliers),
    ("gaps", "idle 15 rpm too high, high readings go missing", MEAN, _gaps),
    ("outliers", "spread 22 rpm, 5 % of the readings replaced by the target", SPREAD, _rough_outliers),
    ("old values repeated", "spread 21 rpm, each reading said 2 to 7 times", SPREAD, _held_twice),
    ("rocking car", "yaw zero 0.28 °/s, car rocks and calms down", ZERO, _rocking),
    ("drift", "yaw zero 0.28 °/s, drifting up to 0.02 °/s a second", ZERO, _wandering_zero),
    ("skew", "slope 8 % wrong, times off by up to 0.4 s", SLOPE, _skewed),
    ("sticking plate", "sticks and jumps by 4 to 8 %", REMAINS, _sticking),
    ("odd rest", "one of five rests 2 % away", REST, _rest_outlier),
)


def false_passes(criterion: Criterion, maker: Maker, trials: int, seed: int = 3) -> tuple[int, int]:
    """How many wrong PASS, and how many decided at all."""
    rng = np.random.default_rng(seed)
    verdicts = [judge(criterion, maker(rng)).verdict for _ in range(trials)]
    return verdicts.count(Verdict.PASS), trials - verdicts.count(Verdict.CANNOT_TELL)


def upper_bound(count: int, trials: int, confidence: float = 0.95) -> float:
    """Upper one-sided bound of a share. Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404 (recalled)."""
    return 1.0 if count >= trials else float(beta.ppf(confidence, count + 1, trials - count))


def lower_bound(count: int, trials: int, confidence: float = 0.95) -> float:
    """Lower one-sided bound of a share."""
    return 1.0 - upper_bound(trials - count, trials, confidence)
