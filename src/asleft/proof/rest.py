"""How far the rest reading wanders from one key cycle to the next."""

from __future__ import annotations

import math
from collections.abc import Sequence

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .correlated import level, mean_uncertainty
from .estimate import Estimate, NoEstimate, combined
from .samples import Samples, look_over

#: Fewest readings in one rest recording.
FEWEST_AT_REST = 3
#: How many steps of the source a reading may wander within one recording and still count as at rest.
MOST_STEPS = 3.0


def rest_range(
    rests: Sequence[Series], *, cycles: int = 2, ends: tuple[float, float] | None = None
) -> Estimate | NoEstimate:
    """Range of the rest readings over key cycles: the largest mean less the smallest.

    Args:
        rests: one recording at rest for each key cycle, in order.
        cycles: fewest key cycles.
        ends: ends of the sensor's range; a reading that stands there shows nothing.
    Returns: value and u in the series' unit. Parts: *resolution* q/√6 (two roundings; for 8-bit percent q = 0.392 %
        and U = 0.32 %), *spread* (noise of the two means). The sensor's own error is common to both and drops out.
    Source: JCGM 100:2008, 4.3.7 and 5.1.2; limits and counts: common practice, no source.
    """
    if len(rests) < cycles:
        template = "{n} key cycles recorded, {cycles} are needed"
        return NoEstimate((Reason.TOO_FEW,), say("proof.few-cycles", template, n=len(rests), cycles=cycles))
    looked = [_one_rest(series, ends) for series in rests]
    for item in looked:
        if isinstance(item, NoEstimate):
            return item
    samples = [item for item in looked if isinstance(item, Samples)]
    if len({s.series.unit for s in samples}) > 1:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.units", "the rest recordings have different units"))
    means = [(level(s.values), mean_uncertainty(s.values)[0]) for s in samples]
    (low, u_low), (high, u_high) = min(means), max(means)
    q = max(s.series.resolution for s in samples)
    parts = {"resolution": q / math.sqrt(6.0), "spread": math.hypot(u_low, u_high)}
    window = (samples[0].window_s[0], samples[-1].window_s[1])
    n = sum(len(s) for s in samples)
    return Estimate(high - low, combined(parts), samples[0].series.unit, n, float(len(samples)), window, parts)


def _one_rest(series: Series, ends: tuple[float, float] | None) -> Samples | NoEstimate:
    samples = look_over(series, least=FEWEST_AT_REST, ends=ends)
    if isinstance(samples, NoEstimate):
        return samples
    wander = float(samples.values.max() - samples.values.min())
    if wander > MOST_STEPS * series.resolution * (1.0 + 1e-6):
        template = "{name} moved by {wander} while it was to be at rest"
        message = say(
            "proof.not-at-rest", template, name=series.signal.replace("-", " "), wander=show(wander, series.unit)
        )
        return NoEstimate((Reason.WINDOW,), message, len(samples), samples.window_s)
    return samples
