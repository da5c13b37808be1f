"""Trials of the estimators: made-up signals of known truth. Used by tests and measure_proof.py.

Nothing here is shared with the estimators: noise is shaped in the frequency domain (the estimators think in
autoregressive processes), quantised, read at jittering times, all trials of a kind at once. The only thing taken from
``asleft`` is what is tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import msgspec
import numpy as np
from scipy.stats import beta

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import (
    Criterion,
    DualSum,
    IdleMean,
    IdleSpread,
    LimitData,
    RestRange,
    TrackingResidual,
    TrackingSlope,
    TrimSum,
    ZeroAtRest,
)
from asleft.proof.decide import decide
from asleft.proof.dual import ratio_error, sum_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.flow import flow_area
from asleft.proof.hunting import Hunting, hunting
from asleft.proof.paired import difference
from asleft.proof.rest import rest_range
from asleft.proof.steady import mean, spread
from asleft.proof.steering import Straight, both_directions, straight_offset
from asleft.proof.supply import TimeToLimit, level_after, ripple, sag, time_to_limit
from asleft.proof.tracking import Tracking, tracking
from asleft.proof.transient import Transient, transient
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


def _straights(
    rng: np.random.Generator, trials: int, *, whole: bool = False
) -> Iterator[tuple[Found | Straight, float]]:
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
        yield (found.offset if isinstance(found, Straight) and not whole else found), float(truth[i])


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


def _sudden(rng: np.random.Generator, trials: int) -> Iterator[tuple[Transient | NoEstimate, float, float]]:
    """A load at 10 s: what is read, how deep it fell and when it was back, both on a grid ten times finer."""
    fine, every = 0.02, 10
    n = int(30 / fine)
    t = np.arange(n) * fine
    noise = 5.0 * shaped(rng, trials, n, fine, 0.4, 0.0)
    depth, tau = rng.uniform(60, 250, trials), rng.uniform(0.4, 1.5, trials)
    for i in range(trials):
        since = np.maximum(t - 10.0, 0.0)
        v = 750.0 + noise[i] - depth[i] * 2.0 * (1 - np.exp(-since / 0.4)) * np.exp(-since / tau[i])
        at = np.clip(np.arange(0, n, every) + rng.integers(0, every, n // every), 0, n - 1)
        after = (t >= 10.0) & (t <= 25.0)
        outside = np.flatnonzero(np.abs(v[after] - 750.0) > 25.0)
        read = series("engine-speed", "rpm", t[at], stepped(v[at], 0.25), 0.25)
        yield transient(read, 10.0), 750.0 - float(v[after].min()), float(fine * (outside[-1] + 1))


def _dips(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    for found, depth, _ in _sudden(rng, trials):
        yield (found.dip if isinstance(found, Transient) else found), depth


def _returns(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    for found, _, back in _sudden(rng, trials):
        yield (found.back if isinstance(found, Transient) else found), back


def _ripples(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 150, 0.1
    t = times(rng, trials, n, step_s)
    half, hz = rng.uniform(0.05, 0.3, trials), rng.uniform(0.5, 4.0, trials)
    for i in range(trials):
        slow = 13.8 + 0.1 * np.sin(t[i] / 9.0 + rng.uniform(0, 6.3))
        v = slow + half[i] * np.sin(2 * np.pi * hz[i] * t[i]) + 0.005 * rng.standard_normal(n)
        yield ripple(series("v", "V", t[i], stepped(v, 0.01), 0.01)), 2.0 * float(half[i])


def _levels(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 200, 1.0
    t = times(rng, trials, n, step_s)
    rate = rng.uniform(-0.05, 0.05, trials)
    v = 12.7 + rate[:, None] * t / 60.0 + 0.015 * shaped(rng, trials, n, step_s, 0.1, 0.5)
    for i in range(trials):
        truth = 12.7 + rate[i] * (t[i, -1] / 60.0 + 30.0)
        yield level_after(series("v", "V", t[i], stepped(v[i], 0.01), 0.01), 30.0), float(truth)


def _ratios(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    n, step_s = 120, 0.15
    t = times(rng, trials, n, step_s)
    off = rng.uniform(0.03, 0.2, trials) * rng.choice([-1.0, 1.0], trials)
    knots, levels = [0, 1, 8, 9, 16, 30], [30, 30, 80, 80, 30, 30]
    for i in range(trials):
        first, later = np.interp(t[i], knots, levels), t[i] + 0.02
        second = np.interp(later, knots, levels) / (2.0 + off[i]) + 0.05 * rng.standard_normal(n)
        a = series("accelerator-pedal-d", "%", t[i], stepped(first, Q8), Q8)
        b = series("accelerator-pedal-e", "%", later, stepped(second, Q8), Q8)
        yield ratio_error(a, b, 2.0), abs(float(off[i]))


def _changes(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    """Two means of one sensor with an unknown offset of up to 20 rpm that it keeps."""
    (t, a), (_, b) = _idle(rng, trials, 0.4, 0.3, 0.2), _idle(rng, trials, 0.4, 0.3, 0.2)
    change, off = rng.uniform(-40, 40, trials), rng.uniform(-20, 20, trials)
    for i in range(trials):
        both = [mean(series("n", "rpm", t[i], stepped(v + off[i], 0.25), 0.25, 20.0)) for v in (a[i], b[i] + change[i])]
        before, after = both
        assert isinstance(before, Estimate)
        assert isinstance(after, Estimate)
        yield difference(before, after), float(change[i])


def _both_ways(rng: np.random.Generator, trials: int) -> Iterator[tuple[Found, float]]:
    """The road's crown moves both directions apart by up to half a degree each."""
    drives = [list(_straights(rng, trials, whole=True)) for _ in range(2)]
    for (there, a), (back, b) in zip(*drives, strict=True):
        crown, truth = rng.uniform(-0.5, 0.5), rng.uniform(-2, 2)
        if not (isinstance(there, Straight) and isinstance(back, Straight)):
            continue
        moved = [
            msgspec.structs.replace(s, offset=msgspec.structs.replace(s.offset, value=s.offset.value - known + by))
            for s, known, by in ((there, a, truth + crown), (back, b, truth - crown))
        ]
        yield both_directions(moved[0], moved[1]), float(truth)


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
    Kind("supply after 30 min", "0.015 V", _levels),
    Kind("ripple of the supply", "0.5 to 4 Hz, 0.005 V", _ripples),
    Kind("dip after a load", "5 rpm, corner 0.4 Hz", _dips),
    Kind("time until it is back", "5 rpm, corner 0.4 Hz", _returns),
    Kind("ratio of two sensors", "8 bits, 0.05 %", _ratios),
    Kind("change of a mean", "sensor's own error 20 rpm", _changes),
    Kind("steering offset, both directions", "crown up to 0.5°", _both_ways),
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
TRIMS = TrimSum("trims", "Trims", "idle", LimitData("%", "ours", -10.0, 10.0), gates=(), seconds=50.0)
SUM = DualSum("sum", "Sum", "sweep", LimitData("%", "ours", None, 3.0))
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


@dataclass(frozen=True)
class Fault:
    """Something that the estimators do not know of; PASS is wrong in every one of them.

    Attributes: name, what: for the table. criterion: judged. make: rng -> recordings. seen: whether anything shows it.
    """

    name: str
    what: str
    criterion: Criterion
    make: Maker
    seen: bool = True


def _odd_trims(rng: np.random.Generator) -> Saved:
    """Trims that add 14 % of fuel, and wild readings far below."""
    n, step_s = 120, 0.5
    t = times(rng, 1, n, step_s)[0]
    v = 14.0 + shaped(rng, 1, n, step_s, 0.2, 0.5)[0]
    wild = rng.random(n) < rng.uniform(0.02, 0.1)
    short = stepped(np.where(wild, rng.uniform(-100, 0, n), v), 100 / 128)
    return {
        "idle": (
            series("short-term-trim-1", "%", t, short, 100 / 128),
            series("long-term-trim-1", "%", t, np.zeros(n), 100 / 128),
        )
    }


def _lying_zero(rng: np.random.Generator) -> Saved:
    """A yaw zero that is 0.28 °/s off, and a module that has subtracted it from all it says."""
    n = 200
    v = 0.05 * shaped(rng, 1, n, 0.05, 2.0, 0.7)[0]
    return {"rest": (series("yaw-rate", "°/s", np.arange(n) * 0.05, stepped(v, 0.01), 0.01),)}


def _lying_plate(rng: np.random.Generator) -> Saved:
    """A plate sensor that reads 5 % off from before the first reading on: its rests agree all the same."""
    out: Saved = {}
    for k in range(5):
        v = 14.0 + 5.0 + 0.03 * rng.standard_normal(10)
        out[f"rest/{k + 1}"] = (series("throttle-absolute", "%", np.arange(10) * 0.3 + 20 * k, stepped(v, Q8), Q8),)
    return out


def _lying_pair(rng: np.random.Generator) -> Saved:
    """The same sensor beside the second one of its shaft."""
    n, step_s = 120, 0.15
    t = times(rng, 1, n, step_s)[0]
    truth = np.interp(t, [0, 1, 8, 9, 16, 30], [12, 12, 80, 80, 12, 12])
    a = series("throttle-absolute", "%", t, stepped(truth + 5.0 + 0.03 * rng.standard_normal(n), Q8), Q8)
    b = series("throttle-absolute-b", "%", t + 0.03, stepped(100.0 - truth, Q8), Q8)
    return {"sweep": (a, b)}


FAULTS: tuple[Fault, ...] = (
    Fault("cycling fan", "idle 30 rpm too high, fan pulls it down half of the time", MEAN, _fan),
    Fault("frozen signal", "idle 30 rpm too high, reading freezes at a good value", MEAN, _frozen),
    Fault("drift", "idle sweeps from 60 to 120 rpm above to as much below", MEAN, _drifting),
    Fault("outliers", "idle 30 rpm too high, 2 to 10 % wild low readings", MEAN, _outliers),
    Fault("gaps", "idle 15 rpm too high, high readings go missing", MEAN, _gaps),
    Fault("outliers", "spread 22 rpm, 5 % of the readings replaced by the target", SPREAD, _rough_outliers),
    Fault("old values repeated", "spread 21 rpm, each reading said 2 to 7 times", SPREAD, _held_twice),
    Fault("rocking car", "yaw zero 0.28 °/s, car rocks and calms down", ZERO, _rocking),
    Fault("drift", "yaw zero 0.28 °/s, drifting up to 0.02 °/s a second", ZERO, _wandering_zero),
    Fault("skew", "slope 8 % wrong, times off by up to 0.4 s", SLOPE, _skewed),
    Fault("sticking plate", "sticks and jumps by 4 to 8 %", REMAINS, _sticking),
    Fault("odd rest", "one of five rests 2 % away", REST, _rest_outlier),
    Fault("outliers", "trims 14 %, 2 to 10 % wild low readings", TRIMS, _odd_trims),
    Fault("lie on one channel", "plate reads 5 % off all along; its rests", REST, _lying_plate, seen=False),
    Fault("lie on one channel", "yaw zero 0.28 °/s off, the module subtracts it", ZERO, _lying_zero, seen=False),
    Fault("the first lie, second channel", "plate reads 5 % off; sum of two sensors", SUM, _lying_pair),
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
