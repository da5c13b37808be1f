"""Steps of a procedure: a closed union of frozen values, one handler each in ``run``."""

from __future__ import annotations

from typing import assert_never

import msgspec

from .condition import Condition
from .effect import Effect, Reaction, Settle
from .module import ModuleState


class Tell(msgspec.Struct, frozen=True, tag="tell", forbid_unknown_fields=True):
    """Show a text; cautions are shown first and confirmed."""

    id: str
    text: str
    cautions: tuple[str, ...] = ()


class Agree(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a signal must show when a person gives this answer."""

    answer: str
    condition: Condition


class Ask(msgspec.Struct, frozen=True, tag="ask", forbid_unknown_fields=True):
    """Ask a person to do or confirm something; the answer is recorded as declared.

    Attributes:
        agree: an answer that a signal contradicts ends the run; an answer not named here is taken as it is.
        act: machine name of what the person does, for a bench driver.
    """

    id: str
    text: str
    choices: tuple[str, ...] = ("done",)
    agree: tuple[Agree, ...] = ()
    act: str = ""


class Session(msgspec.Struct, frozen=True, tag="session", forbid_unknown_fields=True):
    """Open a diagnostic session of the module; it ends by itself or with the run."""

    id: str
    session: int = 3


class RoutineStart(msgspec.Struct, frozen=True, tag="routine-start", forbid_unknown_fields=True):
    """Start the procedure's routine; the identifier comes from the run (typed or chosen).

    Attributes: identifier: of another routine on the same page, hexadecimal; empty: the one typed or chosen.
    """

    id: str
    reaction: Reaction = Reaction.STOP
    settle: Settle = Settle.ROUTINE_RESULT
    identifier: str = ""


class RoutineStatus(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What one value of the result record's state byte means, in our four words; ``text`` as the source says it."""

    value: int
    state: ModuleState
    text: str = ""


class RoutineResult(msgspec.Struct, frozen=True, tag="routine-result", forbid_unknown_fields=True):
    """Ask for the routine's result until stored, refused or too late.

    Attributes:
        states: meaning of the state byte; a value not listed is not understood, and that is said.
        state_at: place of the state byte in the result record, from 0.
        refusal_at: place of the refusal code in the result record; None where there is none.
        every_s: between two questions, s.
        timeout_s: longest wait, s.
        identifier: as that of its start.
    """

    id: str
    states: tuple[RoutineStatus, ...] = ()
    state_at: int = 0
    refusal_at: int | None = None
    every_s: float = 1.0
    timeout_s: float = 30.0
    reaction: Reaction = Reaction.STOP
    identifier: str = ""


class Observe(msgspec.Struct, frozen=True, tag="observe", forbid_unknown_fields=True):
    """Record signals for some seconds while a person does what ``text`` says.

    Attributes:
        signals: ids, read together.
        seconds: length of the recording, s.
        save: name of the recorded series.
        act: machine name of what the person does, for a bench driver.
        suspends: interlocks that this step itself breaks (a pedal sweep and the pedal at rest).
        at_once: without a question before it, because what is to be seen has begun already.
        every_s: least time from one reading to the next, s; 0: as fast as the car answers.
    """

    id: str
    text: str
    signals: tuple[str, ...]
    seconds: float
    save: str
    act: str = ""
    suspends: tuple[str, ...] = ()
    at_once: bool = False
    every_s: float = 0.0


class KeyCycle(msgspec.Struct, frozen=True, tag="key-cycle", forbid_unknown_fields=True):
    """Key off, wait, key on, then record signals at rest; repeated.

    Attributes:
        times: how often.
        off_s: how long the key stays off at least, s.
        settle_s: wait after key on, s.
        signals: ids recorded at rest; may be empty.
        seconds: length of each recording, s.
        save: name; series are saved as ``save/number/signal``.
    """

    id: str
    times: int = 1
    off_s: float = 10.0
    settle_s: float = 3.0
    signals: tuple[str, ...] = ()
    seconds: float = 3.0
    save: str = ""


class Clear(msgspec.Struct, frozen=True, tag="clear", forbid_unknown_fields=True):
    """The planned clear of trouble codes in all modules reached."""

    id: str
    reaction: Reaction = Reaction.FINISH
    settle: Settle = Settle.CODES_READ_AGAIN


Step = Tell | Ask | Session | RoutineStart | RoutineResult | Observe | KeyCycle | Clear


def effect_of(step: Step) -> Effect:
    """What a step does to the car."""
    match step:
        case Tell() | Ask() | RoutineResult() | Observe() | KeyCycle():
            return Effect.READS
        case Session():
            return Effect.SESSION
        case RoutineStart():
            return Effect.ACTUATES
        case Clear():
            return Effect.CLEARS
        case _:
            assert_never(step)


def repeatable(step: Step) -> bool:
    """Whether a step may be done again without being asked for: never where it has an effect."""
    return not effect_of(step).needs_receipt


def reaction_of(step: Step) -> Reaction:
    """What the step does when an interlock breaks."""
    match step:
        case RoutineStart() | RoutineResult() | Clear():
            return step.reaction
        case _:
            return Reaction.STOP


def settle_of(step: Step) -> Settle | None:
    """How its effect is settled; None for a step without one."""
    match step:
        case RoutineStart() | Clear():
            return step.settle
        case _:
            return None
