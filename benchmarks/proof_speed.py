"""Speed of proof: an hour of 100 signals judged, and all conditions of 64 signals brought up to date.

    OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/proof_speed.py

(with several threads on a busy machine the waiting of the linear algebra library is counted as well)

Prints each figure (processor time) beside its limit and beside plain library code for the same figures in the same
run: statsmodels' ordinary least squares with correlation-robust errors for the means, numpy over the whole window for
the conditions.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from statsmodels.api import OLS

from asleft.model.condition import Condition, ConditionKind
from asleft.model.origin import Origin
from asleft.model.reading import Reading, Series
from asleft.model.verdict import LimitOwner, Limits
from asleft.proof.conditions import ConditionWatch
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import LimitData
from asleft.proof.criterion_more import SteadyMean
from asleft.proof.decide import decide
from asleft.proof.samples import Samples, look_over
from asleft.proof.steady import mean_of

SIGNALS, HOUR, HZ = 100, 3600, 10
LIMITS = Limits(700.0, 800.0, "rpm", LimitOwner.OURS)


def best(what: Callable[[], object], times: int = 3) -> float:
    """Shortest processor time of a few, s: other programs on the machine do not count."""
    found = []
    for _ in range(times):
        begin = time.process_time()
        what()
        found.append(time.process_time() - begin)
    return min(found)


def hour() -> tuple[float, float, float]:
    """Seconds from arrays to verdicts for all signals; from saved series (tuples); statsmodels for as many means."""
    rng = np.random.default_rng(1)
    n = HOUR * HZ
    times = np.arange(n) / HZ
    noise = rng.standard_normal((SIGNALS, n + 9))
    moving = np.cumsum(noise, axis=1)
    values = 750.0 + np.round(4.0 * (moving[:, 9:] - moving[:, :-9]) / 3.0 * 8.0) / 4.0  # correlated over 0.9 s
    saved = [Series("engine-speed", "rpm", tuple(times.tolist()), tuple(v.tolist()), 0.25) for v in values]
    arrays = [Samples(s, times, v) for s, v in zip(saved, values, strict=True)]
    ones = np.ones((n, 1))
    return (
        best(lambda: [decide("c", "c", mean_of(s), LIMITS) for s in arrays]),
        best(lambda: [decide("c", "c", mean_of(s), LIMITS) for x in saved if isinstance(s := look_over(x), Samples)]),
        best(lambda: [OLS(v, ones).fit(cov_type="HAC", cov_kwds={"maxlags": 100}).bse for v in values[:10]], 1) * 10.0,
    )


def criteria() -> tuple[float, float]:
    """Seconds for a whole criterion on each signal (series looked over, window found, wild readings, drift, verdict).

    Once with the window of half a minute that procedures ask for, once with the whole hour as the window.
    """
    rng = np.random.default_rng(3)
    n = HOUR * HZ
    times = tuple((np.arange(n) / HZ).tolist())
    saved = [
        Series(f"s{i}", "rpm", times, tuple((750.0 + np.round(rng.standard_normal(n) * 16.0) / 4.0).tolist()), 0.25)
        for i in range(SIGNALS)
    ]
    recorded = {"hour": tuple(saved)}
    limits = LimitData("rpm", "ours", 700.0, 800.0)
    short, whole = (
        [SteadyMean("c", "c", "hour", limits, s.signal, 30.0, seconds=seconds) for s in saved]
        for seconds in (30.0, HOUR - 1.0)
    )
    return (
        best(lambda: [judge(c, recorded) for c in short]),
        best(lambda: [judge(c, recorded) for c in whole]),
    )


def updates() -> tuple[float, float]:
    """Seconds for one reading to each of 64 conditions, a third of them over time; numpy over the same windows."""
    kinds = (ConditionKind.WITHIN, ConditionKind.AT_LEAST, ConditionKind.STEADY, ConditionKind.SLOPE)
    watches = [
        ConditionWatch(Condition(f"c{i}", "c", kinds[i % 4], f"s{i}", low=-5.0, high=100.0, hold_s=10.0))
        for i in range(64)
    ]
    rng = np.random.default_rng(2)
    values = rng.standard_normal((400, 64))
    readings = [
        [Reading(f"s{i}", float(values[k, i]), "1", 0.1, 0.1 * k, Origin.BENCH) for i in range(64)] for k in range(400)
    ]
    begin = time.process_time()
    for row in readings:
        for watch, reading in zip(watches, row, strict=True):
            watch.update(reading)
    ours = (time.process_time() - begin) / 400
    windows = [values[300:400, i].tolist() for i in range(64)]
    plain = best(lambda: [float(np.std(np.asarray(w), ddof=1)) for w in windows])
    return ours, plain


def main() -> None:
    """Measure and print."""
    arrays, saved, plain = hour()
    print(
        f"an hour of {SIGNALS} signals at {HZ} Hz judged: {arrays:.2f} s from arrays, {saved:.2f} s from saved series"
    )
    print(f"  limit 1 s; statsmodels for as many means with robust errors: {plain:.2f} s, {plain / arrays:.1f} times")
    short, whole = criteria()
    print(f"  as whole criteria: {short:.2f} s with windows of 30 s, {whole:.2f} s with the hour as the window")
    ours, numpy_s = updates()
    print(f"all conditions of 64 signals brought up to date: {1e3 * ours:.3f} ms, limit 1 ms")
    print(
        f"  numpy's standard deviation over the same windows alone: {1e3 * numpy_s:.3f} ms, {numpy_s / ours:.1f} times"
    )


if __name__ == "__main__":
    main()
