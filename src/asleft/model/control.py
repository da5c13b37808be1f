"""The control lease: one person on one device confirms effects for a car. A pure rule.

Who holds it stands in the record. It is taken with the first confirmation or by asking, handed over by its holder, or
taken over by somebody who says why, because a tablet falls and a colleague goes home::

    holder = Holder("R. Okafor", "tablet-1")
    may_confirm(holder, Holder("R. Okafor", "tablet-2"))     # False: the same person, another device
    move = take(holder, Holder("A. Novak", "tablet-2"), reason="tablet 1 is broken")
"""

from __future__ import annotations

from enum import StrEnum, unique
from typing import NamedTuple

from .errors import Code, RunError


@unique
class ControlHow(StrEnum):
    """How control came to its holder."""

    TAKEN = "taken"
    HANDED_OVER = "handed-over"
    TAKEN_OVER = "taken-over"
    GIVEN_UP = "given-up"


class Holder(NamedTuple):
    """A person on a device. ``NOBODY`` is neither."""

    by: str
    device: str

    @property
    def text(self) -> str:
        """For a sentence."""
        return f"{self.by} on {self.device or 'an unnamed device'}" if self.by else "nobody"


NOBODY = Holder("", "")


class Move(NamedTuple):
    """Control goes from one to another."""

    before: Holder
    after: Holder
    how: ControlHow
    reason: str = ""


def may_confirm(holder: Holder, who: Holder) -> bool:
    """Whether ``who`` may confirm an effect: exactly the holder, or anybody with a name while nobody holds it."""
    return bool(who.by) and holder in (who, NOBODY)


def take(holder: Holder, who: Holder, reason: str = "") -> Move | None:
    """Take control: free for all while nobody has it, else with a reason.

    Returns: the move to record; None when ``who`` has it already.
    Raises: RunError (control-held): another has it and no reason is given, or ``who`` has no name.
    """
    if not who.by:
        raise RunError(Code.CONTROL_HELD, "control needs a name")
    if holder == who:
        return None
    if holder == NOBODY:
        return Move(holder, who, ControlHow.TAKEN)
    if not reason.strip():
        raise RunError(Code.CONTROL_HELD, holder.text)
    return Move(holder, who, ControlHow.TAKEN_OVER, reason.strip())


def hand_over(holder: Holder, who: Holder, to: Holder) -> Move:
    """Give control to somebody, or up when ``to`` is nobody.

    Raises: RunError (control-held): ``who`` does not have it, or gives it to himself or to a device without a person.
    """
    if holder != who or holder == NOBODY:
        raise RunError(Code.CONTROL_HELD, holder.text)
    if to == NOBODY:
        return Move(holder, to, ControlHow.GIVEN_UP)
    if to == who or not to.by:
        raise RunError(Code.CONTROL_HELD, f"control cannot go to {to.text}")
    return Move(holder, to, ControlHow.HANDED_OVER)
