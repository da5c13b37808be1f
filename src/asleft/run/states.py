"""The states of a run and the only ways between them. Pure: a table, and a machine that refuses what is not in it.

::

    new ─begin► preparing ─prepared► waiting ─open► acting ─done► closing ─closed► proving ─judged► judged ─►ended
                                        ▲             │                             │
                                        ├go-on─ paused ◄pause                       │
                                        └────────────────────────────────retest─────┘
    preparing, waiting, acting, paused, closing ─cut► cutting ─closed► ended

An effect goes out in *acting* only; in *cutting* only what stops or gives back. After a pause the entry conditions are
measured again: the way back from *paused* leads through *waiting*. So does the one declared retest, which measures once
more and has no effect.
"""

from __future__ import annotations

from enum import StrEnum, unique

from asleft.model.errors import Code, InternalError, RunError


@unique
class State(StrEnum):
    """Where a run stands."""

    NEW = "new"
    PREPARING = "preparing"
    WAITING = "waiting"
    ACTING = "acting"
    PAUSED = "paused"
    CLOSING = "closing"
    CUTTING = "cutting"
    PROVING = "proving"
    JUDGED = "judged"
    ENDED = "ended"


@unique
class Turn(StrEnum):
    """What moves a run on."""

    BEGIN = "begin"
    PREPARED = "prepared"
    OPEN = "open"
    PAUSE = "pause"
    GO_ON = "go-on"
    DONE = "done"
    CUT = "cut"
    CLOSED = "closed"
    RETEST = "retest"
    JUDGED = "judged"
    CONCLUDED = "concluded"


_CAN_BE_CUT = (State.PREPARING, State.WAITING, State.ACTING, State.PAUSED, State.CLOSING)

#: Every way there is.
TABLE: dict[tuple[State, Turn], State] = {
    (State.NEW, Turn.BEGIN): State.PREPARING,
    (State.PREPARING, Turn.PREPARED): State.WAITING,
    (State.WAITING, Turn.OPEN): State.ACTING,
    (State.ACTING, Turn.PAUSE): State.PAUSED,
    (State.PAUSED, Turn.GO_ON): State.WAITING,
    (State.ACTING, Turn.DONE): State.CLOSING,
    (State.CLOSING, Turn.CLOSED): State.PROVING,
    (State.PROVING, Turn.RETEST): State.WAITING,
    (State.PROVING, Turn.JUDGED): State.JUDGED,
    (State.JUDGED, Turn.CONCLUDED): State.ENDED,
    **{(state, Turn.CUT): State.CUTTING for state in _CAN_BE_CUT},
    (State.CUTTING, Turn.CLOSED): State.ENDED,
}


class RunMachine:
    """One run's state."""

    def __init__(self) -> None:
        self.state = State.NEW

    def can(self, turn: Turn) -> bool:
        """Whether the table has this way from here."""
        return (self.state, turn) in TABLE

    def go(self, turn: Turn) -> State:
        """Go on. Raises InternalError: the table has no such way."""
        if not self.can(turn):
            raise InternalError(Code.INTERNAL, f"a run that is {self.state} cannot {turn}")
        self.state = TABLE[self.state, turn]
        return self.state

    def must_allow_effect(self, *, stops: bool = False) -> None:
        """Raises RunError (gate-closed) where no effect may go out.

        Args: stops: it stops what was begun or gives control back.
        """
        if self.state is State.ACTING or (stops and self.state is State.CUTTING):
            return
        raise RunError(Code.GATE_CLOSED, f"the run is {self.state}")
