"""What a condition asks for, in words."""

from __future__ import annotations

from asleft.model.condition import Condition, ConditionKind
from asleft.model.numbers import short, with_unit


def wants(condition: Condition) -> str:
    """The need as part of a sentence: ``needs at least 65 °C``."""
    c = condition
    low = "" if c.low is None else short(c.low)
    high = "" if c.high is None else short(c.high)
    match c.kind:
        case ConditionKind.WITHIN:
            return f"needs {with_unit(f'{low} to {high}', c.unit)}"
        case ConditionKind.AT_LEAST:
            return f"needs at least {with_unit(low, c.unit)}"
        case ConditionKind.AT_MOST:
            return f"needs at most {with_unit(high, c.unit)}"
        case ConditionKind.STEADY:
            return f"needs at most {with_unit(high, c.unit)} over {c.hold_s:g} s"
        case ConditionKind.SLOPE:
            return f"needs {with_unit(f'{low} to {high}', c.unit)} a minute over {c.hold_s:g} s"
        case ConditionKind.NO_STEP:
            return f"needs no step above {with_unit(high, c.unit)} in {c.hold_s:g} s"
        case ConditionKind.DECLARED:
            return "needs a person's word"
