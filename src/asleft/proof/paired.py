"""A difference between two pictures of one car: what is common to both drops out of its uncertainty."""

from __future__ import annotations

import math

from asleft.model.message import say
from asleft.model.verdict import Reason

from .estimate import Estimate, NoEstimate, combined

#: Parts of u that are an unknown but constant offset of the same sensor: they drop out.
OFFSETS = frozenset({"accuracy"})
#: Parts that are an unknown but constant factor on the same car with the same sensors: they scale the difference.
FACTORS = frozenset({"filling", "displacement", "sensors"})


def difference(before: Estimate, after: Estimate) -> Estimate | NoEstimate:
    """After less before, measured with the same sensor on the same car.

    Returns: value and u; a common offset drops out, a common factor acts on the difference alone, the rest of both adds
        up in squares.
    Source: JCGM 100:2008, 5.2.2 (correlated inputs, correlation 1).
    """
    if before.unit != after.unit:
        template = "one picture is in {a}, the other in {b}"
        message = say("proof.pictures-units", template, a=before.unit, b=after.unit)
        return NoEstimate((Reason.CONTRADICTION,), message)
    value = after.value - before.value
    parts = dict[str, float]()
    for name in dict.fromkeys([*before.parts, *after.parts]):
        a, b = before.parts.get(name, 0.0), after.parts.get(name, 0.0)
        if name in OFFSETS:
            continue
        parts[name] = _common_factor(before, after, a, b, value) if name in FACTORS else math.hypot(a, b)
    window = (before.window_s[0], after.window_s[1])
    return Estimate(
        value, combined(parts), after.unit, before.n + after.n, min(before.n_eff, after.n_eff), window, parts
    )


def ratio(before: Estimate, after: Estimate) -> Estimate | NoEstimate:
    """After over before: a common factor drops out, an offset does not."""
    if before.value == 0.0 or before.unit != after.unit:
        return NoEstimate((Reason.CONTRADICTION,), say("proof.no-ratio", "the two pictures have no ratio"))
    value = after.value / before.value
    parts = {
        name: abs(value)
        * math.hypot(before.parts.get(name, 0.0) / before.value, after.parts.get(name, 0.0) / after.value)
        for name in dict.fromkeys([*before.parts, *after.parts])
        if name not in FACTORS and after.value != 0.0
    }
    window = (before.window_s[0], after.window_s[1])
    return Estimate(value, combined(parts), "1", before.n + after.n, min(before.n_eff, after.n_eff), window, parts)


def _common_factor(before: Estimate, after: Estimate, a: float, b: float, value: float) -> float:
    relative = max(a / abs(before.value) if before.value else 0.0, b / abs(after.value) if after.value else 0.0)
    return relative * abs(value)
