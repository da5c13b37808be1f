"""Steering angle with the car going straight: the angle that is left when yaw rate is taken out.

Only steady, nearly straight segments count. Road crown and tyres pull the same way on the same road, so both directions
are asked for and averaged; what they disagree by belongs to the road or the alignment, not to the sensor.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array, Mask
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .pairing import paired
from .samples import look_over

SLOWEST_KMH, FASTEST_KMH, MOST_YAW = 40.0, 90.0, 0.5
SEGMENT_S, FEWEST_SEGMENTS, SHORTEST_M = 5.0, 3, 300.0
#: Two directions further apart than this are not averaged away, °. Common practice, no source.
MOST_APART = 1.5


class Straight(msgspec.Struct, frozen=True):
    """Offset from one direction: the estimate, and the distance it rests on, m."""

    offset: Estimate
    distance_m: float


def straight_offset(
    angle: Series, yaw: Series, speed: Series, *, u_yaw: float = 0.05, degrees_per_yaw: float = 3.4
) -> Straight | NoEstimate:
    """Steering-wheel angle at no yaw rate, from straight segments of a drive in one direction.

    Args:
        angle: °. yaw: °/s, its own offset taken out. speed: km/h.
        u_yaw: standard uncertainty of that yaw offset, °/s.
        degrees_per_yaw: steering-wheel angle for 1 °/s at 50 km/h, ° (ratio 15, wheelbase 2.7 m: 3.4).
    Returns: intercept of the regression of angle on yaw rate over speed and yaw rate times speed.
    Source: linear single-track model δ = δ₀ + i (L + K v²) ψ̇ / v, textbook; limits: common practice, no source.
    """
    looked = [look_over(s, least=FEWEST_SEGMENTS * 5) for s in (angle, yaw, speed)]
    for item in looked:
        if isinstance(item, NoEstimate):
            return item
    a, y, v = (item for item in looked if not isinstance(item, NoEstimate))
    with_yaw, with_speed = paired(a, y), paired(a, v)
    times = np.intersect1d(with_yaw.times, with_speed.times)
    delta, rate = _at(with_yaw.times, with_yaw.first, times), _at(with_yaw.times, with_yaw.second, times)
    kmh = _at(with_speed.times, with_speed.second, times)
    usable = (kmh >= SLOWEST_KMH) & (kmh <= FASTEST_KMH) & (np.abs(rate) < MOST_YAW)
    keep, count = _segments(times, usable)
    travelled = float((kmh[keep] / 3.6).sum() * _step(times)) if keep.any() else 0.0
    if count < FEWEST_SEGMENTS or travelled < SHORTEST_M:
        template = "{n} straight pieces of 5 s over {far}, {need} over {least} are needed"
        shown = {"n": count, "far": show(travelled, "m"), "need": FEWEST_SEGMENTS, "least": show(SHORTEST_M, "m")}
        return NoEstimate((Reason.WINDOW,), say("proof.not-straight", template, **shown), len(angle))
    return Straight(
        _intercept(times[keep], delta[keep], rate[keep], kmh[keep] / 3.6, angle, (u_yaw, degrees_per_yaw)), travelled
    )


def both_directions(there: Straight, back: Straight) -> Estimate | NoEstimate:
    """Mean of the two directions; what they disagree by is counted, and too much of it is not averaged away."""
    apart = abs(there.offset.value - back.offset.value)
    if apart > MOST_APART:
        template = "the two directions differ by {apart}: road, wind or alignment"
        message = say("proof.directions-apart", template, apart=show(apart, "°"))
        return NoEstimate((Reason.CONTRADICTION,), message, there.offset.n + back.offset.n)
    a, b = there.offset, back.offset
    parts = {
        name: math.hypot(a.parts.get(name, 0.0), b.parts.get(name, 0.0)) / 2.0 for name in ("spread", "resolution")
    }
    parts["yaw"] = (a.parts.get("yaw", 0.0) + b.parts.get("yaw", 0.0)) / 2.0
    parts["directions"] = apart / 2.0 / math.sqrt(3.0)
    window = (a.window_s[0], b.window_s[1])
    return Estimate((a.value + b.value) / 2.0, combined(parts), "°", a.n + b.n, min(a.n_eff, b.n_eff), window, parts)


def _segments(times: Array, usable: Mask) -> tuple[Mask, int]:
    """True for readings in unbroken usable stretches of five seconds or more; how many five seconds they hold."""
    keep, count = np.zeros(len(times), dtype=bool), 0
    broken = np.concatenate([[True], np.diff(times) > 1.0])
    begins = [i for i in range(len(times)) if usable[i] and (broken[i] or not usable[i - 1])]
    for begin in begins:
        end = begin
        while end + 1 < len(times) and usable[end + 1] and not broken[end + 1]:
            end += 1
        if times[end] - times[begin] >= SEGMENT_S:
            keep[begin : end + 1] = True
            count += int((times[end] - times[begin]) // SEGMENT_S)
    return keep, count


def _intercept(
    times: Array, delta: Array, rate: Array, speed: Array, angle: Series, yaw: tuple[float, float]
) -> Estimate:
    n = len(times)
    columns: Array = np.column_stack([rate / speed, rate * speed])
    middle = np.asarray(np.mean(columns, axis=0), dtype=np.float64)
    others = np.asarray(columns - middle, dtype=np.float64)
    gains = np.asarray(np.linalg.lstsq(others, delta - float(np.mean(delta)), rcond=None)[0], dtype=np.float64)
    level: Array = delta - columns @ gains
    u_spread, n_eff = mean_uncertainty(level)
    inverse = np.asarray(np.linalg.pinv(np.transpose(others) @ others), dtype=np.float64)
    stretch = math.sqrt(1.0 + n * float(middle @ inverse @ middle))
    at_50 = yaw[1] * 50.0 / 3.6 / float(np.mean(speed))
    parts = {
        "spread": u_spread * stretch,
        "resolution": angle.resolution / math.sqrt(12.0),
        "yaw": yaw[0] * at_50,
    }
    window = (float(times[0]), float(times[-1]))
    return Estimate(float(level.mean()), combined(parts), "°", n, n_eff, window, parts)


def _at(times: Array, values: Array, wanted: Array) -> Array:
    return values[np.searchsorted(times, wanted)]


def _step(times: Array) -> float:
    return float(np.median(np.diff(times))) if len(times) > 1 else 0.0
