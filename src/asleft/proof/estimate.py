"""A number with its uncertainty, or the reason why there is none. Every estimator of this room returns one of these."""

from __future__ import annotations

import math

import msgspec

from asleft.model.message import Message
from asleft.model.verdict import Reason


class Estimate(msgspec.Struct, frozen=True):
    """A measured quantity.

    Attributes:
        value: in ``unit``.
        u: standard uncertainty in ``unit``, so made that ``value`` ± 2 u covers 95 %: where few samples stand behind a
            part of it, that part is widened by Student's t. Source: JCGM 100:2008, 5.1.2, G.3 (recalled).
        unit: of both.
        n: samples used.
        n_eff: how many independent samples they are worth, at most n.
        window_s: begin and end on the job's clock, s.
        parts: what u is made of, in ``unit``: name to standard uncertainty; their squares add up to u².
        notes: what a reader should know.
    """

    value: float
    u: float
    unit: str
    n: int
    n_eff: float
    window_s: tuple[float, float]
    parts: dict[str, float] = {}
    notes: tuple[Message, ...] = ()

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = 2 u (95 %)."""
        return 2.0 * self.u


class NoEstimate(msgspec.Struct, frozen=True):
    """Why there is no number.

    Attributes:
        reasons: of the closed list, at least one.
        message: in words, with the figures.
        n: samples seen.
        window_s: what was looked at, if anything.
    """

    reasons: tuple[Reason, ...]
    message: Message
    n: int = 0
    window_s: tuple[float, float] | None = None


def combined(parts: dict[str, float]) -> float:
    """Root of the sum of squares of independent parts. Source: JCGM 100:2008, 5.1.2."""
    return math.sqrt(math.fsum(p * p for p in parts.values()))
