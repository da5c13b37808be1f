"""The steady window of a recording, as a criterion asks for it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .correlated import mean_uncertainty
from .estimate import Estimate, NoEstimate
from .samples import Samples, cut, frozen, look_over, wild
from .saved import Saved, select, unrecorded
from .steady import mean_of
from .window import Gate, window_of


@dataclass(frozen=True)
class Wish:
    """Which window is wanted.

    Attributes:
        saved: name of the recordings. gates: what must hold. seconds: length. max_drift: in the signal's unit.
        noisy: the signal always moves a little.
    """

    saved: str
    gates: tuple[Gate, ...]
    seconds: float
    max_drift: float
    noisy: bool


class Windowed(Protocol):
    """A criterion on a steady window."""

    @property
    def saved(self) -> str:
        """Name of its recordings."""
        ...

    @property
    def gates(self) -> tuple[Gate, ...]:
        """What must hold in it."""
        ...

    @property
    def seconds(self) -> float:
        """Length, s."""
        ...

    @property
    def max_drift(self) -> float:
        """Largest change within it."""
        ...


def wish(criterion: Windowed, *, noisy: bool, saved: str = "") -> Wish:
    """The wish of a criterion; ``saved``: of other recordings than its own."""
    return Wish(saved or criterion.saved, criterion.gates, criterion.seconds, criterion.max_drift, noisy)


def steady_mean(asked: Wish, signal: str, samples: Saved) -> Estimate | NoEstimate:
    """Mean of one signal over its steady window, unless wild readings lie in it."""
    found = select(samples, asked.saved, signal)
    if not found:
        return unrecorded(signal, asked.saved)
    window = steady_window(asked, found[-1], samples)
    return window if isinstance(window, NoEstimate) else wild(window) or mean_of(window)


def steady_window(asked: Wish, series: Series, samples: Saved) -> Samples | NoEstimate:
    """The steady window of a series, if there is one and nothing drifts in it."""
    looked = look_over(series, least=2)
    if isinstance(looked, NoEstimate):
        return looked
    others = {g.signal: found[-1] for g in asked.gates if (found := select(samples, asked.saved, g.signal))}
    window = window_of(looked, others, asked.gates, asked.seconds)
    if isinstance(window, NoEstimate):
        return window
    part = cut(looked, window.as_tuple)
    dead = frozen(part) if asked.noisy else None
    if dead is not None:
        return dead
    return _drift(part, asked.max_drift) or part


def _drift(part: Samples, most: float) -> NoEstimate | None:
    """Why a window is no steady one: its last third lies further from its first than allowed, and not by chance."""
    third = len(part) // 3
    if third < 3:
        return None
    first, last = part.values[:third], part.values[-third:]
    drift = float(last.mean() - first.mean())
    at = part.times - part.times.mean()
    level = part.values - at * float(at @ part.values) / max(float(at @ at), 1e-12)
    u = math.hypot(mean_uncertainty(level[:third])[0], mean_uncertainty(level[-third:])[0])
    if abs(drift) <= max(most, 2.0 * u):
        return None
    template = "{name} still changed by {drift} within {span}"
    shown = {"drift": show(drift, part.series.unit), "span": show(part.span_s, "s")}
    message = say("proof.drift", template, name=part.series.signal.replace("-", " "), **shown)
    return NoEstimate((Reason.WINDOW,), message, len(part), part.window_s)
