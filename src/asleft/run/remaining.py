"""How far a run is and how long it still takes: from its steps, what this shop needed before, and the module. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft.model.step import KeyCycle, Observe, RoutineResult
from asleft.model.step_more import Actuate, AnyStep, DriveSegment, TimedSequence, WaitUntil

#: A person reads, does and answers, s; a request and its answer, s. Common practice, no source.
PERSON_S, WIRE_S = 10.0, 1.0
#: A key, turned, and the module seen, s.
KEY_S = 4.0


class Progress(msgspec.Struct, frozen=True):
    """Where a run stands.

    Attributes:
        step: number of the step in hand, from 1; of: how many. share: done, 0 to 1, by time.
        remaining_s: estimate, s. by: ``procedure`` or ``shop`` (what this shop needed before).
    """

    step: int
    of: int
    share: float
    remaining_s: float
    by: str


def expected_s(step: AnyStep) -> float:
    """How long a step takes by the procedure alone, s."""
    match step:
        case Observe(seconds=seconds):
            return seconds + PERSON_S
        case KeyCycle():
            return step.times * (step.off_s + step.settle_s + step.seconds + 2.0 * KEY_S)
        case RoutineResult():
            return 0.5 * step.timeout_s
        case TimedSequence():
            return max((m.at_s + m.late_s for m in step.marks), default=0.0) + 2.0 * PERSON_S
        case DriveSegment():
            return max(step.hold_s, 0.5 * step.timeout_s)
        case WaitUntil():
            return 0.5 * step.timeout_s
        case Actuate():
            return step.seconds + PERSON_S
        case _:
            return PERSON_S if not hasattr(step, "identifier") else WIRE_S


def progress(
    steps: Sequence[AnyStep],
    number: int,
    in_step_s: float,
    *,
    usual_s: float | None = None,
    module: float | None = None,
) -> Progress:
    """Progress within a run.

    Args:
        number: of the step in hand, from 1. in_step_s: since it began, s.
        usual_s: what the whole took in this shop before, s.
        module: how far the module says it is in this step, 0 to 1.
    """
    expected = [expected_s(step) for step in steps]
    whole = sum(expected) or 1.0
    scale = 1.0 if usual_s is None else usual_s / whole
    before = sum(expected[: number - 1]) * scale
    now = expected[number - 1] * scale if 1 <= number <= len(expected) else 0.0
    if module is not None and 0.0 < module <= 1.0:
        now = in_step_s / module
    after = sum(expected[number:]) * scale
    left = max(0.0, now - in_step_s) + after
    done = before + min(in_step_s, now)
    return Progress(number, len(steps), done / (done + left) if done + left > 0.0 else 0.0, left, _by(usual_s))


def _by(usual_s: float | None) -> str:
    return "procedure" if usual_s is None else "shop"
