"""The control lease of the job in hand: kept in its record, asked before every confirmation of an effect.

The rule itself is ``asleft.model.control``. Looking, and saying stop, need no lease.
"""

from __future__ import annotations

from typing import Any

from asleft.event.body import ControlMoved
from asleft.model.control import NOBODY, Holder, Move, hand_over, may_confirm, take
from asleft.model.errors import Code, RunError
from asleft.model.question import Question, QuestionKind
from asleft.ports.journal import Journal
from asleft.run.asking import STOP

#: Longer names of persons and devices are cut.
_LONGEST = 60


class ControlLease:
    """Control of one job, as its record says."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    @property
    def holder(self) -> Holder:
        """Who may confirm effects now."""
        moves = (e.body for e in reversed(self._journal.events()) if isinstance(e.body, ControlMoved))
        last = next(moves, None)
        return Holder(last.by, last.device) if last else NOBODY

    def take(self, who: Holder, reason: str = "") -> None:
        """Take control. Raises RunError (control-held): another has it and no reason is given; as ``append``."""
        self._record(take(self.holder, who, reason))

    def only(self, who: Holder) -> None:
        """Let through who may confirm effects; nobody takes control by it. Raises RunError (control-held)."""
        if not may_confirm(self.holder, who):
            raise RunError(Code.CONTROL_HELD, self.holder.text)

    def hand_over(self, who: Holder, to: Holder) -> None:
        """Give control to another, or up. Raises RunError (control-held) when ``who`` does not have it."""
        self._record(hand_over(self.holder, who, to))

    def confirm(self, question: Question, text: str, who: Holder) -> None:
        """Let an answer through; the first confirmation of an effect takes control. Saying stop is free to all.

        Raises: RunError (control-held): it confirms an effect, and another person or device has control.
        """
        if question.kind is not QuestionKind.EFFECT or text == STOP:
            return
        self.only(who)
        self.take(who)

    def _record(self, move: Move | None) -> None:
        if move is not None:
            body = ControlMoved(*move.after, move.how, *move.before, move.reason)
            self._journal.append(body, actor=move.after.by or move.before.by)


def holder_in(request: dict[str, Any], prefix: str = "") -> Holder:
    """The person and device that a command names: ``by`` and ``device``; with prefix ``to_`` the ones it goes to."""
    by, device = (" ".join(str(request.get(prefix + key, "")).split())[:_LONGEST] for key in ("by", "device"))
    return Holder(by, device)
