"""Sentences for verdicts, in plain words."""

from __future__ import annotations

from asleft.model.message import Message, say
from asleft.model.numbers import short, with_unit
from asleft.model.verdict import LimitOwner, Limits, Reason, Rule, Verdict


def limits_in_words(limits: Limits) -> str:
    """Limits as part of a sentence: ``at most 1.2 %``, ``0.95 to 1.05``."""
    low = None if limits.low is None else short(limits.low)
    high = None if limits.high is None else short(limits.high)
    if low is not None and high is not None:
        return with_unit(f"{low} to {high}", limits.unit)
    if high is not None:
        return f"at most {with_unit(high, limits.unit)}"
    return "without a limit" if low is None else f"at least {with_unit(low, limits.unit)}"


def whose(limits: Limits) -> str:
    """Whose limit it is, in words."""
    return "the manual's limit" if limits.owner is LimitOwner.PRINTED else "our limit"


def sentence(
    name: str, verdict: Verdict, reasons: tuple[Reason, ...], *, rule: Rule, result: str, limits: Limits
) -> Message:
    """The verdict as a sentence. ``result`` is value and expanded uncertainty as shown."""
    message_id, template = _template(verdict, rule, reasons)
    return say(message_id, template, name=name, result=result, limits=limits_in_words(limits), whose=whose(limits))


def _template(verdict: Verdict, rule: Rule, reasons: tuple[Reason, ...]) -> tuple[str, str]:
    if rule is Rule.REPORT_ONLY:
        return "verdict.reported", "{name}: {result}, reported without a limit to judge it by."
    if rule is Rule.SIMPLE:
        match verdict:
            case Verdict.PASS:
                return "verdict.pass-printed", "{name}: {result}, within {whose} as printed ({limits})."
            case Verdict.FAIL:
                return "verdict.fail-printed", "{name}: {result}, outside {whose} as printed ({limits})."
            case Verdict.CANNOT_TELL:
                return "verdict.coarse", "{name}: {result}, too coarse to be held against {whose} ({limits})."
    match verdict:
        case Verdict.PASS:
            return "verdict.pass", "{name}: {result}, within {whose} ({limits}) with the whole uncertainty."
        case Verdict.FAIL:
            return "verdict.fail", "{name}: {result}, outside {whose} ({limits}) even with the whole uncertainty."
        case Verdict.CANNOT_TELL:
            if Reason.GUARD_BAND in reasons:
                return (
                    "verdict.borderline",
                    "{name}: {result}, so close to {whose} ({limits}) that it may be either side.",
                )
            return "verdict.coarse", "{name}: {result}, too coarse to be held against {whose} ({limits})."
