"""Entry conditions and interlocks: what must hold, measured."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .message import Message
from .reading import Evidence


@unique
class ConditionKind(StrEnum):
    """Closed set of forms.

    ``STEADY``: the standard deviation over the last ``hold_s`` seconds is at most ``high``. ``SLOPE``: the change over
    the last ``hold_s`` seconds lies within ``low`` and ``high``, in ``unit`` a minute. ``NO_STEP``: no step above
    ``high`` from one two-second mean to the next within ``hold_s`` (a load that stays on makes no step and is not
    seen). ``DECLARED``: no signal shows it; a person says so and it is recorded as declared.
    """

    WITHIN = "within"
    AT_LEAST = "at-least"
    AT_MOST = "at-most"
    STEADY = "steady"
    SLOPE = "slope"
    NO_STEP = "no-step"
    DECLARED = "declared"


@unique
class ConditionState(StrEnum):
    """Three values, never two."""

    MET = "met"
    NOT_MET = "not-met"
    NOT_KNOWN = "not-known"


class Condition(msgspec.Struct, frozen=True):
    """One condition.

    Attributes:
        id: slug within its procedure.
        text: words for a screen.
        kind: form.
        signal: id of the signal; empty when declared.
        low, high: limits in ``unit``; None where the form has none.
        leave_low, leave_high: looser limits at which a held condition is lost (hysteresis); None: same as to enter.
        unit: of the limits.
        hold_s: how long it must hold without a break, s; the window of a steady one.
        max_age_s: a reading older than this is not known, s.
        printed: limits as the source prints them.
        source: page or "common practice, no source".
        waivable: whether a named person may waive it with a reason (TRADE: only risk 2 and below).
        debounce_s: how long a held condition may stand outside the looser limits before it is lost, s.
    """

    id: str
    text: str
    kind: ConditionKind
    signal: str = ""
    low: float | None = None
    high: float | None = None
    leave_low: float | None = None
    leave_high: float | None = None
    unit: str = "1"
    hold_s: float = 0.0
    max_age_s: float = 2.0
    printed: str = ""
    source: str = ""
    waivable: bool = False
    debounce_s: float = 0.0


class ConditionResult(msgspec.Struct, frozen=True):
    """How a condition stands at one moment.

    Attributes:
        condition: its id.
        state: met, not met, not known.
        value, unit: latest reading used; None when none.
        margin: distance to the nearest limit in ``unit``, negative outside; None when not known or declared.
        held_s: how long it has held, s.
        evidence: measured or declared.
        time_s: of this result, job's clock.
        reason: why not met or not known, in words; None when met.
    """

    condition: str
    state: ConditionState
    time_s: float
    value: float | None = None
    unit: str = "1"
    margin: float | None = None
    held_s: float = 0.0
    evidence: Evidence = Evidence.MEASURED
    reason: Message | None = None
