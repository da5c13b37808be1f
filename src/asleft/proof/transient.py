"""What engine speed does after something sudden: a load switched on, the throttle let go.

Three numbers that a customer feels: how deep it falls, and how long until it is back and stays there.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, cut, look_over

#: Slowest reading at which a dip is seen at all, s.
SLOWEST_S = 0.5
_FEWEST = 5
#: What readings miss on average, in shares of the half-widths: the lowest point lies between two of them, and noise
#: carries the signal out of the band again unseen. Set on trials (scripts/proof_trials.py), not on cars.
UNSEEN, LATER = 0.25, 1.0 / 6.0


class Transient(msgspec.Struct, frozen=True):
    """Answer to something sudden.

    Attributes:
        dip: how far below the level it was held against, in the signal's unit; 0 when it did not fall.
        back: until it is within the band and stays there, s.
    """

    dip: Estimate
    back: Estimate


def transient(
    series: Series,
    at_s: float,
    *,
    level: float | None = None,
    band: float = 25.0,
    before_s: float = 5.0,
    after_s: float = 15.0,
    u_at_s: float = 0.0,
) -> Transient | NoEstimate:
    """Dip and return after ``at_s``.

    Args:
        series: engine speed, read at least every 0.5 s.
        at_s: when the load came or the throttle was let go.
        level: what it is held against, in the signal's unit; None: the mean of the ``before_s`` before. For a throttle
            let go from higher speed give the idle target.
        band: within this of the level it counts as back, in the signal's unit.
        u_at_s: half-width by which the moment may be later, s.
    Returns: dip with u from noise, resolution, and what may have happened between two readings; time with the distance
        of two readings, or what noise makes of it, as its half-width.
    Source: JCGM 100:2008, 4.3.7; limits: common practice, no source.
    """
    samples = look_over(series, least=2 * _FEWEST, noisy=False)
    if isinstance(samples, NoEstimate):
        return samples
    earlier = cut(samples, (at_s - before_s, at_s - 1e-9))
    later = cut(samples, (at_s, at_s + after_s))
    if len(later) < _FEWEST or (level is None and len(earlier) < _FEWEST):
        return _no(Reason.TOO_FEW, "too few readings round the moment", samples)
    if later.step_s > SLOWEST_S or samples.series.u_time_s > SLOWEST_S:
        return _no(Reason.RESOLUTION, f"read every {show(later.step_s, 's', 0.5)}, too slow for a dip", samples)
    held, u_level = (level, 0.0) if level is not None else _level(earlier)
    start = _first_arrival(later, held, band) if level is not None else 0
    return _answer(later, start, held, u_level, (at_s, u_at_s), band)


def _level(earlier: Samples) -> tuple[float, float]:
    return float(earlier.values.mean()), mean_uncertainty(earlier.values)[0]


def _first_arrival(later: Samples, held: float, band: float) -> int:
    """From a higher speed the fall to the level is no dip: begin where it first arrives."""
    arrived = np.flatnonzero(later.values <= held + band)
    return int(arrived[0]) if len(arrived) else len(later) - 1


def _answer(
    later: Samples, start: int, held: float, u_level: float, moment: tuple[float, float], band: float
) -> Transient | NoEstimate:
    at_s, u_at_s = moment
    values, times = later.values[start:], later.times[start:]
    outside = np.flatnonzero(np.abs(values - held) > band)
    if len(outside) and outside[-1] == len(values) - 1:
        return _no(Reason.TIME_OUT, f"not back within {show(later.span_s, 's')}", later)
    lowest = int(np.argmin(values))
    s, q, n, window = later.series, later.series.resolution, len(later), later.window_s
    parts = {
        "level": u_level,
        "resolution": q / math.sqrt(12.0),
        "between two readings": _between(values, lowest) / math.sqrt(2.0),  # U-shaped: at a reading, or far
    }
    deeper = _between(values, lowest) * UNSEEN
    dip = Estimate(max(0.0, held - float(values[lowest]) + deeper), combined(parts), s.unit, n, float(n), window, parts)
    back_s, half_s = _return(np.abs(values - held), times, band, _noise(values[-len(values) // 3 :]))
    shares = {"readings": half_s, "times": s.u_time_s, "moment": u_at_s}
    times_u = {name: half / math.sqrt(3.0) for name, half in shares.items()}
    back = Estimate(max(0.0, back_s - at_s), combined(times_u), "s", n, float(n), window, times_u)
    return Transient(dip, back)


def _return(away: Array, times: Array, band: float, noise: float) -> tuple[float, float]:
    """When it is back for good, and the half-width of that, s.

    It lies between the last reading outside and the next; noise may carry it over the edge of the band a little sooner
    or later, between the last reading outside a band wider by the noise and the last outside one narrower by it.
    """

    def last_outside(edge: float) -> int:
        outside = np.flatnonzero(away > edge)
        return int(outside[-1]) if len(outside) else -1

    def at(i: int) -> float:
        return float(times[min(max(i, 0), len(times) - 1)])

    last = last_outside(band)
    step = at(last + 1) - at(last)
    soonest, latest = at(last_outside(band + noise)), at(last_outside(max(band - noise, 0.5 * band)) + 1)
    half_s = max(step, (latest - soonest) / 2.0)
    return (at(last) + at(last + 1)) / 2.0 + LATER * half_s, half_s


def _noise(settled: Array) -> float:
    """How much the signal moves by itself once it has settled."""
    return float(settled.std()) if len(settled) > 1 else 0.0


def _between(values: Array, lowest: int) -> float:
    """How much deeper it may have been between the lowest reading and its neighbours: half the larger difference."""
    around = values[max(0, lowest - 1) : lowest + 2]
    return float(np.max(np.abs(around - values[lowest]))) / 2.0


def _no(reason: Reason, words: str, samples: Samples) -> NoEstimate:
    name = samples.series.signal.replace("-", " ")
    message = say("proof.transient", "{name}: {words}", name=name, words=words)
    return NoEstimate((reason,), message, len(samples), samples.window_s if len(samples) else None)
