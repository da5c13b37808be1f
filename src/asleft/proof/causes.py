"""Why it failed: a short list of causes with what speaks for and against each, and what to measure next.

A naive Bayes model over findings that are there, not there or not known. It is meant to be read: every list entry says
which findings moved it. It says "not enough evidence" when the evidence does not lift the causes shown above "none of
these".

Example::

    evidence = found({"trim-sum": estimate, "flow-ratio": estimate}) | {"code-lean": True}
    ranking = rank(evidence)
    ranking.enough, [c.words for c in ranking.causes[:3]], ranking.next
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import msgspec

from asleft.model.message import Message, say

from .cause_data import CAUSES, NONE_SHARE, Cause
from .estimate import Estimate, NoEstimate
from .finding_data import FINDINGS, THRESHOLDS, Finding, Threshold

#: Finding -> there, not there; a finding that is not in the mapping is not known.
Evidence = Mapping[str, bool]

#: A finding speaks for or against a cause when it shows this many times more or less often with it than usual.
SPEAKS = 2.0
SHOWN = 3


class Ranked(msgspec.Struct, frozen=True):
    """One cause in the list.

    Attributes:
        cause: id. words: for a screen.
        probability: by the tables of this model, among the causes listed and "none of these"; no rate of real cars.
        speaks_for, speaks_against: findings in words, strongest first.
    """

    cause: str
    words: str
    probability: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


class Ranking(msgspec.Struct, frozen=True):
    """The list.

    Attributes:
        causes: most probable first, all of them. enough: whether the evidence carries any of them.
        message: one sentence. next: what to measure next; None when nothing would tell the first ones apart.
    """

    causes: tuple[Ranked, ...]
    enough: bool
    message: Message
    next: Message | None


def found(
    quantities: Mapping[str, Estimate | NoEstimate], thresholds: Sequence[Threshold] = THRESHOLDS
) -> dict[str, bool]:
    """Findings from measured quantities: there or not there only where the whole uncertainty says so.

    Args: quantities: by the names of the thresholds' table. One without a number gives no finding.
    """
    evidence = dict[str, bool]()
    for t in thresholds:
        estimate = quantities.get(t.quantity)
        if not isinstance(estimate, Estimate) or not math.isfinite(estimate.value + estimate.u):
            continue
        side = _side(estimate, t)
        if side is not None:
            evidence[t.finding] = side
    return evidence


def _side(estimate: Estimate, t: Threshold) -> bool | None:
    beyond = estimate.value - t.above if t.above is not None else (t.below or 0.0) - estimate.value
    if abs(beyond) < estimate.expanded:
        return None
    return beyond > 0.0


def rank(evidence: Evidence, causes: Sequence[Cause] = CAUSES, findings: Mapping[str, Finding] = FINDINGS) -> Ranking:
    """Causes by probability given the evidence. Findings that the tables do not know are not used.

    Source: Bayes' rule with independent findings; the arithmetic is checked by enumeration.
    """
    known = {f: there for f, there in evidence.items() if f in findings}
    probabilities, none = posterior(known, causes, findings)
    order = sorted(range(len(causes)), key=lambda i: -probabilities[i])
    ranked = tuple(_ranked(causes[i], probabilities[i], known, findings) for i in order)
    enough = _enough(ranked, none)
    return Ranking(ranked, enough, _message(ranked, enough), _next(known, causes, findings))


def posterior(
    evidence: Evidence, causes: Sequence[Cause], findings: Mapping[str, Finding]
) -> tuple[tuple[float, ...], float]:
    """Probability of each cause and of "none of these"."""
    total = sum(c.weight for c in causes)
    logs = [math.log(c.weight / total * (1.0 - NONE_SHARE)) + _log_likelihood(evidence, c, findings) for c in causes]
    logs.append(math.log(NONE_SHARE) + _log_likelihood(evidence, None, findings))
    largest = max(logs)
    shares = [math.exp(x - largest) for x in logs]
    whole = math.fsum(shares)
    return tuple(s / whole for s in shares[:-1]), shares[-1] / whole


def _log_likelihood(evidence: Evidence, cause: Cause | None, findings: Mapping[str, Finding]) -> float:
    return math.fsum(math.log(_chance(f, there, cause, findings)) for f, there in evidence.items())


def _chance(finding: str, there: bool, cause: Cause | None, findings: Mapping[str, Finding]) -> float:
    usual = findings[finding].usual
    shows = usual if cause is None else max(cause.shows.get(finding, usual), usual)
    return shows if there else 1.0 - shows


def _enough(ranked: tuple[Ranked, ...], none: float) -> bool:
    """The causes shown for which something found speaks are together more probable than none of all causes."""
    shown = [r.probability for r in ranked[:SHOWN] if r.speaks_for]
    return bool(ranked) and bool(ranked[0].speaks_for) and math.fsum(shown) > none


def _ranked(cause: Cause, probability: float, evidence: Evidence, findings: Mapping[str, Finding]) -> Ranked:
    ratios = [
        (_chance(f, there, cause, findings) / _chance(f, there, None, findings), f, there)
        for f, there in evidence.items()
    ]
    words = {(f, there): findings[f].words if there else f"not seen: {findings[f].words}" for _, f, there in ratios}
    speaks = sorted((r for r in ratios if r[0] >= SPEAKS), reverse=True)
    against = sorted(r for r in ratios if r[0] <= 1.0 / SPEAKS)
    return Ranked(
        cause.id,
        cause.words,
        probability,
        tuple(words[f, there] for _, f, there in speaks),
        tuple(words[f, there] for _, f, there in against),
    )


def _message(ranked: tuple[Ranked, ...], enough: bool) -> Message:
    if not enough:
        return say("causes.not-enough", "not enough evidence for any cause")
    first = ranked[0]
    return say(
        "causes.first",
        "most likely {cause}, because {why}",
        cause=first.words,
        why="; ".join(first.speaks_for[:3]),
    )


def _next(evidence: Evidence, causes: Sequence[Cause], findings: Mapping[str, Finding]) -> Message | None:
    """The look that is expected to settle most: largest expected fall of entropy among all that is not known yet."""
    now = _entropy(*posterior(evidence, causes, findings))
    best, gain = "", 1e-3
    for finding in findings:
        if finding in evidence:
            continue
        expected = now - _expected_entropy(finding, evidence, causes, findings)
        if expected > gain:
            best, gain = finding, expected
    if not best:
        return None
    chosen = findings[best]
    return say("causes.next", "next: {look} (whether {words})", look=chosen.look, words=chosen.words)


def _expected_entropy(
    finding: str, evidence: Evidence, causes: Sequence[Cause], findings: Mapping[str, Finding]
) -> float:
    probabilities, none = posterior(evidence, causes, findings)
    shows = none * _chance(finding, True, None, findings) + sum(
        p * _chance(finding, True, c, findings) for p, c in zip(probabilities, causes, strict=True)
    )
    after = [_entropy(*posterior({**evidence, finding: there}, causes, findings)) for there in (True, False)]
    return shows * after[0] + (1.0 - shows) * after[1]


def _entropy(probabilities: tuple[float, ...], none: float) -> float:
    return -math.fsum(p * math.log(p) for p in (*probabilities, none) if p > 0.0)
