"""Learned values: inside their window and away from its ends, changed in the right sense, and the same again."""

from __future__ import annotations

import math

from asleft.model.message import say
from asleft.model.verdict import Reason

from .estimate import Estimate, NoEstimate, combined


def room_to_end(value: float, u: float, low: float, high: float) -> Estimate | NoEstimate:
    """Distance of a learned value to the nearer end of its window, in percent of the window.

    Args: value, u: as read, with the standard uncertainty of one reading. low, high: ends of learning, from the manual.
    Returns: %; negative outside. A value at an end has nowhere to go: what it says is the end, not the car.
    """
    if not (math.isfinite(value) and math.isfinite(low) and math.isfinite(high) and high > low):
        return NoEstimate((Reason.NO_TARGET,), say("proof.no-window", "the ends of learning are not known"), 1)
    width = high - low
    parts = {"resolution": 100.0 * u / width}
    return Estimate(100.0 * min(value - low, high - value) / width, combined(parts), "%", 1, 1.0, (0.0, 0.0), parts)


def same_again(values: tuple[float, ...], u: float, unit: str) -> Estimate | NoEstimate:
    """Range of a learned value over key cycles, in its unit.

    Args: values: one a key cycle. u: standard uncertainty of one reading, in ``unit``.
    """
    if len(values) < 2 or not all(map(math.isfinite, values)):
        message = say("proof.learned-once", "a learned value was read {n} times, 2 are needed", n=len(values))
        return NoEstimate((Reason.TOO_FEW,), message, len(values))
    parts = {"resolution": u * math.sqrt(2.0)}
    n = len(values)
    return Estimate(max(values) - min(values), combined(parts), unit, n, float(n), (0.0, 0.0), parts)
