"""A declared retest: one, declared before anything is recorded again, and both attempts kept.

Of sound cars some fail by chance: with three criteria of 5 % each one in seven. So a car may be tested once more, all
measured criteria of it, after a person has said so with a reason. What counts then is the second attempt; but a PASS
that contradicts the first attempt by more than both uncertainties counts only where something was changed in between
and named: otherwise one of the two numbers is not true, and nobody can tell which.

Source: one declared retest with all attempts kept: common practice, no source. Whether two results agree: normalized
error Eₙ at most 1, ISO 13528:2022, 9.7 (recalled).
"""

from __future__ import annotations

import math

import msgspec

from asleft.model.message import Message, say
from asleft.model.verdict import Judgement, Reason, Verdict, overall

from .settles import settles_message

#: Attempts at all: the first, and one declared retest.
MOST_ATTEMPTS = 2


def may_retest(judgements: tuple[Judgement, ...], attempts: int) -> Message | None:
    """Why there is no retest; None when one may be declared.

    Args: judgements: of the attempt that ended. attempts: how many were made.
    """
    if attempts >= MOST_ATTEMPTS:
        return say("retest.once", "there was one retest; a third attempt would only look for a good number")
    if not judgements:
        return say("retest.nothing", "nothing was judged yet")
    if overall(judgements) is Verdict.PASS:
        return say("retest.passed", "it passed; there is nothing to repeat")
    return None


def normalized_error(first: Judgement, second: Judgement) -> float | None:
    """Difference of two results over its expanded uncertainty; None where one has no number or the units differ.

    Source: ISO 13528:2022, 9.7: Eₙ = (x₁ - x₂) / √(U₁² + U₂²).
    """
    if first.value is None or second.value is None or first.u is None or second.u is None:
        return None
    if first.limits.unit != second.limits.unit:
        return None
    expanded = 2.0 * math.hypot(first.u, second.u)
    apart = abs(first.value - second.value)
    return apart / expanded if expanded > 0.0 else (0.0 if apart == 0.0 else math.inf)


def settled(first: tuple[Judgement, ...], second: tuple[Judgement, ...], *, changed: str = "") -> tuple[Judgement, ...]:
    """What counts after a retest: criterion by criterion, in the order of the first attempt.

    Args:
        first, second: judgements of both attempts.
        changed: what was changed in between, in words; empty: nothing.
    Returns: the second attempt's judgements; a criterion not measured again is CANNOT TELL, and so is a PASS after a
        FAIL that it contradicts, where nothing was changed. A criterion that was judged for the first time counts.
    """
    again = {j.criterion: j for j in second}
    counted = [_one(j, again.pop(j.criterion, None), changed) for j in first]
    return (*counted, *again.values())


def words_of(first: tuple[Judgement, ...], second: tuple[Judgement, ...]) -> Message:
    """One sentence on both attempts, for the verdict of the whole."""
    before, after = (_names(j) for j in (first, second))
    return say("retest.both", "one declared retest; first attempt {first}, second {second}", first=before, second=after)


class Attempts(msgspec.Struct, frozen=True):
    """Both attempts as the record holds them.

    Attributes: first, second: judgements; ``second`` is empty while there was no retest. changed: in between.
    """

    first: tuple[Judgement, ...]
    second: tuple[Judgement, ...] = ()
    changed: str = ""

    @property
    def counted(self) -> tuple[Judgement, ...]:
        """What counts."""
        return settled(self.first, self.second, changed=self.changed) if self.second else self.first


def _one(first: Judgement, second: Judgement | None, changed: str) -> Judgement:
    if second is None:
        message = say("retest.missing", "{name}: not measured again in the retest.", name=first.name)
        return _cannot_tell(first, Reason.INTERRUPTED, message)
    if (first.verdict, second.verdict) != (Verdict.FAIL, Verdict.PASS) or changed:
        return second
    error = normalized_error(first, second)
    if error is not None and error <= 1.0:
        return second
    template = "{name}: FAIL first and PASS in the retest, further apart than their uncertainties, nothing changed."
    return _cannot_tell(second, Reason.CONTRADICTION, say("retest.contradiction", template, name=first.name))


def _cannot_tell(judgement: Judgement, reason: Reason, message: Message) -> Judgement:
    return msgspec.structs.replace(
        judgement,
        verdict=Verdict.CANNOT_TELL,
        reasons=(reason,),
        risk=None,
        sentence=message,
        settles=settles_message(reason),
    )


_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}


def _names(judgements: tuple[Judgement, ...]) -> str:
    verdict = overall(judgements)
    names = ", ".join(j.name for j in judgements if j.verdict is verdict)
    return _WORDS[verdict] if verdict is Verdict.PASS or not names else f"{_WORDS[verdict]} ({names})"
