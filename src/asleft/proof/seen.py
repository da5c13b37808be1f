"""What a condition that is met has really shown, in words: no more than was measured.

A steady load makes no step. A condition that watches for steps shows that nothing was switched while it watched; that
everything is off is somebody's word, and the sentence keeps the two apart.
"""

from __future__ import annotations

from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.message import Message, say
from asleft.model.numbers import show, with_unit


def seen(condition: Condition, result: ConditionResult, declared_by: str = "") -> Message | None:
    """What was seen of a condition that is met; None when it is not.

    Args: declared_by: who said that all loads are off, for a condition that watches for steps; empty: nobody.
    """
    if result.state is not ConditionState.MET:
        return None
    match condition.kind:
        case ConditionKind.DECLARED:
            return say("seen.declared", "{text}: declared, not measured", text=condition.text)
        case ConditionKind.NO_STEP:
            held = with_unit(f"{condition.hold_s:g}", "s")
            if declared_by:
                template = "no change seen in {held}; off declared by {by}"
                return say("seen.no-step-declared", template, held=held, by=declared_by)
            template = "no change seen in {held}; a steady load is not seen, nobody declared it off"
            return say("seen.no-step", template, held=held)
        case _:
            limits = [x for x in (condition.low, condition.high) if x is not None]
            value = show(result.value or 0.0, result.unit, *limits)
            return say("seen.value", "{text}: {value}", text=condition.text, value=value)
