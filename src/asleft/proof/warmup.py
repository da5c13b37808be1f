"""Warm-up: when a temperature will be reached, with an interval, and whether the warm-up is a plausible one.

A coolant below its thermostat's opening follows a first-order course towards a temperature of its own, which the first
minutes do not tell. So the course is carried on for final temperatures from just above the target to far away (a
straight line), and the interval is the range of their times. It holds as long as the engine is used as it is now.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from asleft.model.message import Message, say
from asleft.model.numbers import plain, show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array
from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, cut, look_over

#: Readings of the last so many seconds are looked at.
RECENT_S = 90.0
#: Least time and least rise before anything is foretold.
LEAST_S, LEAST_RISE = 55.0, 2.0
#: Furthest that is foretold, s.
FURTHEST_S = 3600.0
#: Final temperature of the likely course (at least 10 above the target) and how far above the target the slowest one
#: ends, °C; factors on the fastest and the slowest time. Set on recorded idling warm-ups, checked on drives.
LIKELY_END, SLOWEST_ABOVE, SOONER, LATER = 95.0, 6.0, 0.65, 1.2


class Forecast(msgspec.Struct, frozen=True):
    """When a temperature will be reached, from the last reading.

    Attributes:
        likely_s: best guess; 0 when it is reached; None when the course does not lead there within an hour.
        soonest_s: nothing plausible is sooner.
        latest_s: nothing plausible is later; None: it may never get there.
        rate: present rise, K/min as a difference in the signal's unit a minute.
    """

    likely_s: float | None
    soonest_s: float
    latest_s: float | None
    rate: Estimate

    @property
    def message(self) -> Message:
        """For a screen: ``in about 6 min, between 5 and 8``."""
        if self.likely_s is None:
            return say("forecast.never", "at this rate it will not get there within an hour")
        about, soon = plain(self.likely_s / 60.0, 0), plain(math.floor(self.soonest_s / 60.0), 0)
        if self.latest_s is None:
            return say("forecast.open", "in about {about} min, {soon} at the soonest", about=about, soon=soon)
        late = plain(math.ceil(self.latest_s / 60.0), 0)
        return say(
            "forecast.between", "in about {about} min, between {soon} and {late}", about=about, soon=soon, late=late
        )


def forecast(series: Series, target: float) -> Forecast | NoEstimate:
    """When a warming temperature reaches the target.

    Args: series: temperature, oldest first. target: in its unit, above the last reading.
    Returns: time from the last reading with a 95 % interval that also holds the spread of engines' courses.
    Source: lumped heat capacity, textbook; margins from recorded warm-ups (docs/proof.md).
    """
    samples = look_over(series, least=5, most_missing=1.0)
    if isinstance(samples, NoEstimate):
        return samples
    end = float(samples.times[-1])
    recent = cut(samples, (end - RECENT_S, end))
    rate = _rate(recent)
    if float(recent.values[-1]) >= target:
        return Forecast(0.0, 0.0, 0.0, rate)
    rise = float(recent.values[-1] - recent.values[0])
    if recent.span_s < LEAST_S or rise < max(LEAST_RISE, 2.0 * series.resolution):
        template = "{rise} in {span} so far, too little to foretell anything"
        message = say("proof.no-rise", template, rise=show(rise, series.unit), span=show(recent.span_s, "s"))
        return NoEstimate((Reason.TOO_FEW,), message, len(recent), recent.window_s)
    return _foretold(recent, target, rate)


def _rate(recent: Samples) -> Estimate:
    """Present rise a minute from the last half of the readings."""
    half = cut(recent, (recent.times[-1] - max(30.0, recent.span_s / 2.0), float(recent.times[-1])))
    t = half.times - half.times.mean()
    power = max(float(t @ t), 1e-9)
    slope = float(t @ half.values) / power
    remains: Array = half.values - half.values.mean() - slope * t
    u = len(half) * mean_uncertainty(t * remains)[0] / power if len(half) > 3 else abs(slope)
    q = recent.series.resolution / max(half.span_s, 1.0) / math.sqrt(6.0)
    parts = {"spread": 60.0 * u, "resolution": 60.0 * q}
    return Estimate(
        60.0 * slope, combined(parts), recent.series.unit, len(half), float(len(half)), half.window_s, parts
    )


def _foretold(recent: Samples, target: float, rate: Estimate) -> Forecast:
    straight = _straight(recent, target)
    likely = _course(recent, target, max(LIKELY_END, target + 10.0))
    slowest = _course(recent, target, target + SLOWEST_ABOVE)
    a_step = straight * recent.series.resolution / (target - float(recent.values[-1]))
    soonest = max(0.0, SOONER * straight - a_step)
    if not math.isfinite(straight) or likely > FURTHEST_S:
        return Forecast(None, min(soonest, FURTHEST_S), None, rate)
    latest = LATER * slowest + a_step
    return Forecast(likely, soonest, latest if latest <= FURTHEST_S else None, rate)


def _straight(recent: Samples, target: float) -> float:
    """Time to the target along a straight line through the readings, s."""
    t = recent.times - recent.times[-1]
    d = t - t.mean()
    slope = float(d @ recent.values) / float(d @ d)
    now = float(recent.values.mean()) - slope * float(t.mean())
    return max(0.0, target - now) / slope if slope > 0.0 else math.inf


def _course(recent: Samples, target: float, final: float) -> float:
    """Time to the target along a first-order course to a final temperature, s."""
    t = recent.times - recent.times[-1]
    y: Array = np.log(np.maximum(final - recent.values, 1e-3))
    d = t - t.mean()
    decay = -float(d @ y) / float(d @ d)
    now = math.exp(float(y.mean()) + decay * float(t.mean()))
    return max(0.0, math.log(now / (final - target)) / decay) if decay > 0.0 else math.inf


def cold_agreement(temperatures: tuple[Estimate, ...]) -> Estimate:
    """Largest difference of the temperatures of a car that stood cold, in K.

    Args: two or more, in K, read before the start.
    Returns: largest less smallest; usual 6 to 8 (common practice, no source): a heater, the sun or a sensor else. A
        sensor's own error is what is looked for and no part of u.
    """
    low = min(temperatures, key=lambda e: e.value)
    high = max(temperatures, key=lambda e: e.value)
    parts = {n: math.hypot(low.parts.get(n, 0.0), high.parts.get(n, 0.0)) for n in ("spread", "resolution")}
    n, n_eff = sum(e.n for e in temperatures), min(e.n_eff for e in temperatures)
    window = (min(e.window_s[0] for e in temperatures), max(e.window_s[1] for e in temperatures))
    return Estimate(high.value - low.value, combined(parts), "K", n, n_eff, window, parts)
