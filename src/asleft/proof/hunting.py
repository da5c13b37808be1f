"""Idle hunting: the strongest rhythm in engine speed, its frequency and its amplitude, from uneven samples.

A rhythm is looked for by least-squares fits of a sine (Lomb-Scargle with a floating mean). Its noise is not taken from
all that remains, as if it were white, but from the amplitudes at the frequencies round it; and because the largest of
many amplitudes is large even where nothing hunts, the largest that noise alone would show is taken out of one that is
not stronger than that.
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
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, look_over

#: Band in which an idle hunts, Hz. Common practice, no source.
SLOWEST_HZ, FASTEST_HZ = 0.2, 1.5
#: Fewest periods of a rhythm that must have been seen.
FEWEST_PERIODS = 5.0
FEWEST = 40
#: Frequencies tried for each 1/T: the peak is not missed between two of them.
_FINENESS = 5
_EULER = 0.5772156649015329


class Hunting(msgspec.Struct, frozen=True):
    """The strongest rhythm.

    Attributes:
        amplitude: of the sine (half its swing), in the signal's unit, what noise alone would show taken out.
        frequency: Hz.
        seen: it is stronger than noise alone shows; at most 2 of 100 windows without one (measured, docs/proof.md).
    """

    amplitude: Estimate
    frequency: Estimate
    seen: bool


def hunting(series: Series, *, slowest_hz: float = SLOWEST_HZ, fastest_hz: float = FASTEST_HZ) -> Hunting | NoEstimate:
    """The strongest rhythm of a steady window.

    Args: series: engine speed, n ≥ 40; sampled at least twice in the shortest period to be seen.
    Returns: amplitude and frequency; u of the amplitude from the amplitudes round it, u of the frequency by the
        Cramér-Rao bound for that noise.
    Source: N. R. Lomb, *Astrophys. Space Sci.* 39 (1976) 447; M. Zechmeister, M. Kürster, *A&A* 496 (2009) 577,
        floating mean (both recalled); largest of M exponential amplitudes squared: m (ln M + 0.577).
    """
    samples = look_over(series, least=FEWEST, noisy=True)
    if isinstance(samples, NoEstimate):
        return samples
    problem = _rate(samples, slowest_hz, fastest_hz)
    if problem is not None:
        return problem
    return _strongest(samples, slowest_hz, fastest_hz)


def _rate(samples: Samples, slowest_hz: float, fastest_hz: float) -> NoEstimate | None:
    """Why a rhythm of this band cannot be seen at these times."""
    n, window = len(samples), samples.window_s
    slow = samples.series.u_time_s > 0.25 / fastest_hz
    if slow or samples.step_s * fastest_hz > 0.5:
        template = "{name} read every {step}, times known to {u}: a rhythm of up to {fast} Hz cannot be seen"
        shown = {"step": show(samples.step_s, "s", 1.0), "u": show(samples.series.u_time_s, "s", 0.5)}
        name = samples.series.signal.replace("-", " ")
        message = say("proof.rhythm-rate", template, name=name, fast=f"{fastest_hz:g}", **shown)
        return NoEstimate((Reason.RESOLUTION,), message, n, window)
    if samples.span_s * slowest_hz < FEWEST_PERIODS:
        template = "{span} hold fewer than {least} periods of a rhythm of {slow} Hz"
        shown = {"span": show(samples.span_s, "s"), "least": f"{FEWEST_PERIODS:g}", "slow": f"{slowest_hz:g}"}
        return NoEstimate((Reason.TOO_FEW,), say("proof.rhythm-short", template, **shown), n, window)
    return None


def _strongest(samples: Samples, slowest_hz: float, fastest_hz: float) -> Hunting:
    span, unit, q = samples.span_s, samples.series.unit, samples.series.resolution
    t = samples.times - samples.times.mean()
    drift = float(t @ samples.values) / float(t @ t)
    y: Array = samples.values - drift * t
    frequencies = np.arange(slowest_hz, fastest_hz, 1.0 / (_FINENESS * span))
    squares = amplitudes_squared(t, y, frequencies)
    peak = int(np.argmax(squares))
    at = _refined(t, y, float(frequencies[peak]), 0.5 / (_FINENESS * span))
    noise = _noise_at(frequencies, squares, peak)
    square = max(float(squares[peak]), float(amplitudes_squared(t, y, np.array([at]))[0]))
    tried = max(2.0, (fastest_hz - slowest_hz) * span * 2.0)
    seen = square > noise * math.log(tried / 0.001)
    by_chance = noise * (1.0 if seen else math.log(tried) + _EULER)
    value = math.sqrt(max(0.0, square - by_chance))
    u_noise = math.sqrt(noise / 2.0) if seen else max(math.sqrt(noise / 2.0), math.sqrt(by_chance) / 2.0)
    parts = {"spread": u_noise, "resolution": q / math.sqrt(12.0) * math.sqrt(2.0 / len(samples))}
    u_f = math.sqrt(6.0) / (2.0 * math.pi * span) * math.sqrt(noise / max(square, 1e-300)) + 0.1 / span
    n, window = len(samples), samples.window_s
    return Hunting(
        Estimate(value, combined(parts), unit, n, float(n), window, parts),
        Estimate(at, u_f, "Hz", n, float(n), window),
        seen,
    )


def amplitudes_squared(t: Array, y: Array, frequencies: Array) -> Array:
    """Squared amplitude of the least-squares sine with a floating mean at each frequency."""
    angle = 2.0 * np.pi * frequencies[:, None] * t
    cos, sin = np.cos(angle), np.sin(angle)
    cos -= cos.mean(axis=1, keepdims=True)
    sin -= sin.mean(axis=1, keepdims=True)
    d = y - y.mean()
    cc, ss, cs = (cos * cos).sum(axis=1), (sin * sin).sum(axis=1), (cos * sin).sum(axis=1)
    yc, ys = cos @ d, sin @ d
    det = np.maximum(cc * ss - cs * cs, 1e-300)
    a, b = (yc * ss - ys * cs) / det, (ys * cc - yc * cs) / det
    return a * a + b * b


def _refined(t: Array, y: Array, at: float, reach: float) -> float:
    """The place of the peak between the frequencies tried: three rounds of a finer grid."""
    for _ in range(3):
        grid = np.linspace(at - reach, at + reach, 9)
        at = float(grid[int(np.argmax(amplitudes_squared(t, y, grid)))])
        reach /= 4.0
    return at


def _noise_at(frequencies: Array, squares: Array, peak: int) -> float:
    """Mean squared amplitude of noise at the peak: a straight line of its logarithm over that of the frequency.

    Engine noise is stronger at low frequencies, and at the end of the band there are neighbours on one side only. The
    logarithm of an exponentially distributed square lies 0.577 below that of its mean.
    """
    beside = np.abs(np.arange(len(squares)) - peak) > 2 * _FINENESS
    chosen = beside if int(beside.sum()) >= 3 * _FINENESS else np.ones(len(squares), dtype=bool)
    x, y = np.log(frequencies), np.log(np.maximum(squares, 1e-24))
    slope, level = np.polyfit(x[chosen], y[chosen], 1)
    return max(math.exp(float(slope * x[peak] + level) + _EULER), 1e-12)
