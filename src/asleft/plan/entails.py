"""What a need brings with it: needs that follow from other needs, with the reason. Pure.

Source: common practice, no source (the order lines of the functions and the rows of the trigger table).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from asleft.book.functions import name_of
from asleft.model.message import say
from asleft.model.work import Grade, Need

#: Function -> what it entails: function, grade, why.
ENTAILS: dict[str, tuple[tuple[str, Grade, str], ...]] = {
    "trans-adapt-reset": (("trans-learn", Grade.REQUIRED, "the reset throws away what the gearbox had learned"),),
    "abs-bleed": (("brake-pressure-zero", Grade.ADVISABLE, "air or residual pressure shifts the sensor"),),
    "sas-zero": (("yaw-accel-zero", Grade.ADVISABLE, "the module compares the two"),),
    "camera-aim-static": (("camera-aim-dynamic", Grade.ADVISABLE, "many manuals refine the static aim on the road"),),
    "ride-height-cal": (
        ("sas-zero", Grade.REQUIRED, "height changes toe; after the alignment straight ahead is set anew"),
        ("headlamp-level", Grade.REQUIRED, "the aim follows the height"),
    ),
    "programming-prereq": (("module-coding", Grade.ADVISABLE, "new software may clear the coding: verify it"),),
    "dpf-service-regen": (("service-interval-reset", Grade.ADVISABLE, "the oil is changed when it was diluted"),),
    "injector-code": (("misfire-adapt", Grade.ADVISABLE, "the old correction belongs to the old code"),),
    "hv-balance": (
        ("hv-isolation", Grade.REQUIRED, "danger without it"),
        ("hv-contactor", Grade.REQUIRED, "danger without it"),
    ),
    "resolver-learn": (
        ("hv-isolation", Grade.REQUIRED, "danger without it"),
        ("hv-contactor", Grade.REQUIRED, "danger without it"),
    ),
    "hv-contactor": (("hv-isolation", Grade.REQUIRED, "danger without it"),),
}

_RANK = {Grade.REQUIRED: 0, Grade.ADVISABLE: 1, Grade.NOT_NEEDED: 2}


def with_entailed(needs: Sequence[Need], procedures: Mapping[str, str]) -> tuple[Need, ...]:
    """The needs and what they entail, to the end; a weaker need entails nothing stronger than itself.

    A function that stands there already keeps its place; its grade rises when something entails it more strongly.
    """
    found = {need.function: need for need in needs}
    waiting = [need for need in needs if need.grade is not Grade.NOT_NEEDED]
    while waiting:
        cause = waiting.pop(0)
        for function, grade, why in ENTAILS.get(cause.function, ()):
            strength = max(grade, cause.grade, key=lambda g: _RANK[g])
            known = found.get(function)
            if known is not None and _RANK[known.grade] <= _RANK[strength]:
                continue
            reason = say("need.entailed", "follows from {cause}: {why}", cause=cause.name, why=why)
            new = Need(function, name_of(function), strength, (*cause.reasons, reason), procedures.get(function, ""))
            found[function] = new
            waiting.append(new)
    return tuple(sorted(found.values(), key=lambda need: _RANK[need.grade]))
