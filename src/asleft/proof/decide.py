"""From an estimate and limits to a verdict, by a stated rule, with a sentence and what would settle it.

Two rules. The manual's limits are applied as printed: inside is PASS, outside is FAIL, U is shown beside; only a
measurement that cannot resolve the limit at all is CANNOT_TELL. Limits of our own carry a guard band g = 2 u: PASS only
when even the whole uncertainty stays inside, FAIL only when it stays outside.

Source: JCGM 106:2012, 7 and 8 (recalled); ISO/IEC 17025:2017, 7.8.6.
"""

from __future__ import annotations

import math

from asleft.model.message import Message, say
from asleft.model.numbers import show_result
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict

from .estimate import Estimate, NoEstimate
from .settles import settles
from .words import limits_in_words, sentence

#: Guard band in standard uncertainties. Common practice, no source.
GUARD = 2.0
#: With fewer independent samples than this, an uncertainty that is too large is blamed on their number.
FEW_INDEPENDENT = 10.0
_NO_NUMBER = "the readings are too large or too wild to be computed with"


def probability_inside(value: float, u: float, limits: Limits) -> float:
    """Probability that the true value lies within the limits, from this value and u alone, normal.

    Source: JCGM 106:2012, 7.3 and 7.4 (recalled).
    """
    if u <= 0.0:
        return 1.0 if _inside(value, limits) else 0.0
    below_high = 1.0 if limits.high is None else _phi((limits.high - value) / u)
    below_low = 0.0 if limits.low is None else _phi((limits.low - value) / u)
    return min(1.0, max(0.0, below_high - below_low))


def rule_for(limits: Limits) -> Rule:
    """Which rule applies: it follows from whose limits they are."""
    if limits.low is None and limits.high is None:
        return Rule.REPORT_ONLY
    return Rule.SIMPLE if limits.owner is LimitOwner.PRINTED else Rule.GUARDED


def decide(
    criterion: str,
    name: str,
    estimate: Estimate | NoEstimate,
    limits: Limits,
    *,
    samples: tuple[str, ...] = (),
    resolution: float = 0.0,
) -> Judgement:
    """Judge one estimate.

    Args:
        criterion, name: id and words.
        estimate: in the limits' unit, or why there is none.
        limits: whose they are decides the rule.
        samples: names of the saved series it came from.
        resolution: of the source, in the limits' unit: one that is coarser than the limit decides nothing.
    """
    rule = rule_for(limits)
    if isinstance(estimate, NoEstimate):
        return _without_number(criterion, name, estimate, limits, samples)
    if not (math.isfinite(estimate.value) and math.isfinite(estimate.u)):
        wild = NoEstimate((Reason.UNTRUSTED,), say("proof.no-number", _NO_NUMBER), estimate.n, estimate.window_s)
        return _without_number(criterion, name, wild, limits, samples)
    verdict, reasons = _verdict(estimate, limits, rule, resolution)
    shown = show_result(estimate.value, estimate.expanded, limits.unit)
    return Judgement(
        criterion=criterion,
        name=name,
        verdict=verdict,
        limits=limits,
        rule=rule,
        value=estimate.value,
        u=estimate.u,
        risk=_risk(verdict, estimate, limits),
        n=estimate.n,
        n_eff=estimate.n_eff,
        window_s=estimate.window_s,
        samples=samples,
        reasons=reasons,
        sentence=sentence(name, verdict, reasons, rule=rule, result=shown, limits=limits),
        settles=settles(reasons, estimate),
    )


def _verdict(estimate: Estimate, limits: Limits, rule: Rule, resolution: float) -> tuple[Verdict, tuple[Reason, ...]]:
    x, reach = estimate.value, half_width(limits)
    if rule is Rule.REPORT_ONLY:
        return Verdict.CANNOT_TELL, (Reason.NO_TARGET,)
    if rule is Rule.SIMPLE:
        if max(resolution, estimate.expanded) > reach:
            return Verdict.CANNOT_TELL, (_too_coarse(estimate),)
        return (Verdict.PASS if _inside(x, limits) else Verdict.FAIL), ()
    g = GUARD * estimate.u
    if _inside(x, limits, g):
        return Verdict.PASS, ()
    if (limits.high is not None and x >= limits.high + g) or (limits.low is not None and x <= limits.low - g):
        return Verdict.FAIL, ()
    return Verdict.CANNOT_TELL, (_too_coarse(estimate) if g > reach else Reason.GUARD_BAND,)


def half_width(limits: Limits) -> float:
    """What an uncertainty is measured against: half the distance of two limits, or the size of a single one."""
    if limits.low is not None and limits.high is not None:
        return (limits.high - limits.low) / 2.0
    single = limits.low if limits.high is None else limits.high
    return abs(single) if single else math.inf


def _inside(value: float, limits: Limits, guard: float = 0.0) -> bool:
    return (limits.low is None or value >= limits.low + guard) and (limits.high is None or value <= limits.high - guard)


def _too_coarse(estimate: Estimate) -> Reason:
    mostly_spread = 2.0 * estimate.parts.get("spread", 0.0) ** 2 > estimate.u**2
    return Reason.TOO_FEW if mostly_spread and estimate.n_eff < FEW_INDEPENDENT else Reason.RESOLUTION


def _risk(verdict: Verdict, estimate: Estimate, limits: Limits) -> float | None:
    """Probability of the wrong answer: true value outside at a PASS, inside at a FAIL."""
    if verdict is Verdict.CANNOT_TELL:
        return None
    inside = probability_inside(estimate.value, estimate.u, limits)
    return 1.0 - inside if verdict is Verdict.PASS else inside


def _without_number(criterion: str, name: str, none: NoEstimate, limits: Limits, samples: tuple[str, ...]) -> Judgement:
    message: Message = say(
        "verdict.no-number",
        "{name}: cannot tell whether it is {limits}, because {why}.",
        name=name,
        limits=limits_in_words(limits),
        why=none.message.text,
    )
    return Judgement(
        criterion=criterion,
        name=name,
        verdict=Verdict.CANNOT_TELL,
        limits=limits,
        rule=rule_for(limits),
        n=none.n,
        window_s=none.window_s,
        samples=samples,
        reasons=none.reasons,
        sentence=message,
        settles=settles(none.reasons, none),
    )


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
