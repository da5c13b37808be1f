"""What would settle a CANNOT TELL: one line for each reason of the closed list. Common practice, no source."""

from __future__ import annotations

from asleft.model.message import Message, say
from asleft.model.verdict import Reason

from .estimate import Estimate, NoEstimate

_SETTLES: dict[Reason, str] = {
    Reason.UNSUPPORTED: "Measure it with a gauge and type it in with the gauge's name, or read it from the module.",
    Reason.WINDOW: "Bring the car into the state asked for, hold it, and record again.",
    Reason.TOO_FEW: "Record longer, or more often.",
    Reason.RESOLUTION: "Use a finer signal, a faster link or a larger movement.",
    Reason.UNTRUSTED: "Check the sensor and the recording first; then record again.",
    Reason.NO_TARGET: "Look the limit up in the manual and enter it with its source.",
    Reason.CONTRADICTION: "Find out which of the two is wrong: measure with a third.",
    Reason.GUARD_BAND: "Record longer or with a finer signal, or have the value judged against the manual's own limit.",
    Reason.FROZEN: "Move what is measured and see whether the reading follows; read it again after a key cycle.",
    Reason.TIME_OUT: "Repeat with more time.",
    Reason.INTERRUPTED: "Repeat without the interruption.",
    Reason.ENVIRONMENT: "Repeat elsewhere or at another time.",
}
_LONGER = "Record about {factor} times as long, or use a finer signal."


def settles(reasons: tuple[Reason, ...], found: Estimate | NoEstimate) -> Message | None:
    """What would settle it, for the first reason; None when there is nothing to settle."""
    if not reasons:
        return None
    reason = reasons[0]
    if isinstance(found, Estimate) and reason in {Reason.TOO_FEW, Reason.GUARD_BAND} and found.u > 0.0:
        share = (found.parts.get("spread", 0.0) / found.u) ** 2
        if share > 0.75:  # noise is what stands in the way: four times as long halves it
            return say("settles.longer", _LONGER, factor=4)
    return settles_message(reason)


def settles_message(reason: Reason) -> Message:
    """What settles this reason, whatever was found."""
    return say(f"settles.{reason.name.lower().replace('_', '-')}", _SETTLES[reason])
