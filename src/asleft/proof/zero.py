"""A sensor's zero at rest: was it still, what does it read, and what of that is floor and what is offset.

A sensor that has just been zeroed reads nought on the same spot by construction. What is worth something is a new rest
after a key cycle, another heading, an independent level.
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
from .samples import Samples, look_over

FEWEST = 30
#: A single reading further from the middle than this many usual departures is a knock (a door, a step).
KNOCK = 6.0
#: Standard acceleration of gravity, m/s² (exact).
GRAVITY = 9.80665


class Stillness(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What counts as still.

    Attributes: most_sd: in the signal's unit. most_trend: change a second, in the signal's unit.
    """

    most_sd: float
    most_trend: float


def allan_deviation(values: Array, factor: int) -> float:
    """Overlapping Allan deviation of evenly spaced readings at an averaging length of ``factor`` readings.

    Args: values: length n ≥ 2 · factor.
    Source: NIST SP 1065 (2008), 5.2.4 (recalled); checked against an independent library.
    """
    sums = np.concatenate([[0.0], np.cumsum(values - values.mean())])
    second = sums[2 * factor :] - 2.0 * sums[factor:-factor] + sums[: -2 * factor]
    return math.sqrt(float(second @ second) / (2.0 * len(second))) / factor


def zero_at_rest(series: Series, stillness: Stillness) -> Estimate | NoEstimate:
    """Mean of a sensor at rest.

    Args: series: about evenly spaced, n ≥ 30. stillness: what counts as still.
    Returns: value and u; parts *spread*, *drift* (Allan deviation over a quarter of the window: what the zero wanders
        by itself), *resolution*, *accuracy*.
    Source: JCGM 100:2008, 4.2; NIST SP 1065.
    """
    samples = look_over(series, least=FEWEST)
    if isinstance(samples, NoEstimate):
        return samples
    moved = _moved(samples, stillness)
    if moved is not None:
        return moved
    u_spread, n_eff = mean_uncertainty(samples.values)
    parts = {
        "spread": u_spread,
        "drift": allan_deviation(samples.values, len(samples) // 4),
        "resolution": series.resolution / math.sqrt(12.0),
        "accuracy": series.accuracy / math.sqrt(3.0),
    }
    value = float(samples.values.mean())
    return Estimate(value, combined(parts), series.unit, len(samples), n_eff, samples.window_s, parts)


def _moved(samples: Samples, stillness: Stillness) -> NoEstimate | None:
    """Why the car was not still."""
    values, unit = samples.values, samples.series.unit
    sd = float(values.std(ddof=1))
    middle = float(np.median(values))
    usual = max(1.4826 * float(np.median(np.abs(values - middle))), samples.series.resolution)
    knock = float(np.max(np.abs(values - middle)))
    t = samples.times - samples.times.mean()
    trend = float(t @ values) / max(float(t @ t), 1e-12)
    u_trend = sd / math.sqrt(max(float(t @ t), 1e-12))
    if sd > max(stillness.most_sd, 3.0 * samples.series.resolution):
        words = f"it moved by {show(sd, unit, stillness.most_sd)}, at most {show(stillness.most_sd, unit)} is still"
    elif knock > KNOCK * usual:
        words = f"a knock of {show(knock, unit)}: a door or a step"
    elif abs(trend) > stillness.most_trend + 2.0 * u_trend:
        words = f"it drifted by {show(trend * 60.0, unit)} a minute"
    else:
        return None
    name = samples.series.signal.replace("-", " ")
    message = say("proof.not-still", "{name} was not still: {words}", name=name, words=words)
    return NoEstimate((Reason.WINDOW,), message, len(samples), samples.window_s)


class TwoHeadings(msgspec.Struct, frozen=True):
    """What two headings on the same marks tell apart.

    Attributes: bias: of the sensor. slope: of the floor, in the sensor's unit.
    """

    bias: Estimate
    slope: Estimate


def two_headings(there: Estimate, back: Estimate, marks_deg: float = 0.1) -> TwoHeadings | NoEstimate:
    """Sensor offset and floor slope from one acceleration sensor read twice, the car turned by 180° in between.

    Args: there, back: zero at rest in m/s². marks_deg: half-width of how exactly the wheels stand on the same marks.
    Returns: bias (a + a')/2 and slope (a - a')/2; the sensor's offset is what is looked for and is no part of u.
    Source: plane geometry; marks: common practice, no source.
    """
    if there.unit != "m/s²" or back.unit != "m/s²":
        return NoEstimate((Reason.CONTRADICTION,), say("proof.heading-unit", "both headings are read in m/s²"))
    own = {
        n: math.hypot(there.parts.get(n, 0.0), back.parts.get(n, 0.0)) / 2.0 for n in ("spread", "drift", "resolution")
    }
    parts = {**own, "marks": GRAVITY * math.sin(math.radians(marks_deg))}
    window = (there.window_s[0], back.window_s[1])
    n, n_eff = there.n + back.n, min(there.n_eff, back.n_eff)
    bias, slope = (there.value + back.value) / 2.0, (there.value - back.value) / 2.0
    return TwoHeadings(
        Estimate(bias, combined(parts), "m/s²", n, n_eff, window, parts),
        Estimate(slope, combined(parts), "m/s²", n, n_eff, window, parts),
    )


def slope_degrees(slope: Estimate) -> Estimate:
    """A slope in degrees from its component of gravity."""
    share = min(1.0, max(-1.0, slope.value / GRAVITY))
    factor = math.degrees(1.0 / (GRAVITY * math.sqrt(max(1e-9, 1.0 - share * share))))
    parts = {name: part * factor for name, part in slope.parts.items()}
    value = math.degrees(math.asin(share))
    return Estimate(value, slope.u * factor, "°", slope.n, slope.n_eff, slope.window_s, parts)
