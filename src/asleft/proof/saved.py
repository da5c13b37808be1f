"""What was saved, by name and signal, and the last step from an estimate to a judgement in the limits' unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Protocol

import msgspec

from asleft.model.errors import AsleftError
from asleft.model.message import say
from asleft.model.reading import Series
from asleft.model.units import convert, convert_difference
from asleft.model.verdict import Judgement, Reason

from .criterion_data import LimitData
from .decide import decide
from .estimate import Estimate, NoEstimate

Saved = Mapping[str, tuple[Series, ...]]


class Measured(Protocol):
    """What every criterion on recordings has."""

    @property
    def id(self) -> str:
        """Slug."""
        ...

    @property
    def name(self) -> str:
        """Words."""
        ...

    @property
    def saved(self) -> str:
        """Name of its recordings."""
        ...

    @property
    def limits(self) -> LimitData:
        """What it is held against."""
        ...


def recordings_of(criterion: object) -> tuple[str, ...]:
    """Names of all recordings that a criterion is computed from: its own, earlier ones, the other direction."""
    return tuple(name for field in ("saved", "before", "back") if (name := getattr(criterion, field, "")))


def select(samples: Saved, saved: str, signal: str) -> tuple[Series, ...]:
    """Series of a signal from the recordings of this name or its numbered parts, in order of their numbers."""
    names = [n for n in samples if n == saved or n.startswith(saved + "/")]
    ordered = sorted(names, key=lambda n: [int(p) if p.isdigit() else -1 for p in re.split(r"[/ ]", n)])
    return tuple(s for n in ordered for s in samples[n] if s.signal == signal)


def decide_for(
    criterion: Measured, found: Estimate | NoEstimate, used: tuple[Series, ...], samples: Saved
) -> Judgement:
    """Judge what was found, in the limits' unit; ``used``: the series whose resolution it rests on."""
    limits = criterion.limits.limits()
    wanted = recordings_of(criterion)
    names = tuple(n for n in samples if any(n == w or n.startswith(w + "/") for w in wanted))
    resolution = max((s.resolution for s in used), default=0.0)
    if isinstance(found, Estimate) and found.unit != limits.unit:
        found = in_unit(found, limits.unit)
        resolution = 0.0
    return decide(criterion.id, criterion.name, found, limits, samples=names, resolution=resolution)


def in_unit(found: Estimate, unit: str) -> Estimate | NoEstimate:
    """An estimate in the limits' unit."""
    try:
        value = convert(found.value, found.unit, unit)
        u = convert_difference(found.u, found.unit, unit)
        parts = {name: convert_difference(part, found.unit, unit) for name, part in found.parts.items()}
    except AsleftError:
        template = "it is measured in {unit}, the limit is in {limit}"
        message = say("proof.limit-unit", template, unit=found.unit, limit=unit)
        return NoEstimate((Reason.CONTRADICTION,), message, found.n, found.window_s)
    return msgspec.structs.replace(found, value=value, u=u, parts=parts, unit=unit)


def unrecorded(signal: str, saved: str) -> NoEstimate:
    """Why a signal that was not recorded is not judged."""
    template = "{name} was not recorded in {saved}"
    return NoEstimate(
        (Reason.UNSUPPORTED,), say("proof.unrecorded", template, name=signal.replace("-", " "), saved=saved)
    )
