"""Dry run: every step and every byte that would be sent, with its effect, without a car.

The lines come from the same list of steps that ``run`` carries out. What depends on the car (how often a result is
asked for, which modules a clear reaches, what a person types) is said in words beside the bytes.
"""

from __future__ import annotations

import msgspec

from asleft.model.effect import Effect, Reaction, Settle
from asleft.model.message import Message, say
from asleft.model.reading import Hex, to_hex
from asleft.model.step import (
    Ask,
    Clear,
    KeyCycle,
    Observe,
    RoutineResult,
    RoutineStart,
    Session,
    Tell,
)
from asleft.model.step_coding import Coding, FunctionTests
from asleft.model.step_more import (
    Access,
    Actuate,
    AnyStep,
    DriveSegment,
    Read,
    RestartModule,
    RoutineStop,
    TesterTurn,
    TimedSequence,
    TypeIn,
    WaitUntil,
    Write,
    any_effect_of,
    any_reaction_of,
    any_repeatable,
    any_settle_of,
    words_of,
)

from .identifier import Identifier
from .procedure import Procedure, Way
from .wire_bytes import requests_of

_DEFAULT_SESSION = bytes((0x10, 0x01))


class DryLine(msgspec.Struct, frozen=True):
    """One step as it would be carried out.

    Attributes:
        step: its id; kind: its type.
        effect: what it does to the car.
        sends: requests in order; empty when none is sent or none is known yet.
        what: in words.
        reaction: what a broken interlock or a stop does to it.
        settle: how its effect is settled; None without one.
        repeatable: whether it may be done again without being asked for.
        blank: what is not known without the car; None when all is.
    """

    step: str
    kind: str
    effect: Effect
    sends: tuple[Hex, ...]
    what: Message
    reaction: Reaction
    settle: Settle | None
    repeatable: bool
    blank: Message | None = None

    @property
    def text(self) -> str:
        """One line for a screen."""
        sends = "; ".join(bytes.fromhex(s).hex(" ").upper() for s in self.sends) or "sends nothing"
        blank = f" ({self.blank.text})" if self.blank else ""
        return f"{self.step}: {self.effect.value}: {sends}: {self.what.text}{blank}"


def dry_run(
    procedure: Procedure, way: Way, identifier: Identifier | None = None, coding: bytes | None = None
) -> tuple[DryLine, ...]:
    """The steps of one way.

    Args: identifier: typed or chosen; None leaves the routine's bytes blank and says so.
        coding: composed before; None leaves its bytes blank and says so.
    Returns: a line a step, then one for the return to the default session when a session was opened.
    """
    steps = procedure.ways.steps(way)
    lines = [_line(step, identifier, coding) for step in steps]
    if any(isinstance(step, Session) for step in steps):
        lines.append(_back())
    return tuple(lines)


def blanks(lines: tuple[DryLine, ...]) -> tuple[Message, ...]:
    """What is not known yet, each once."""
    return tuple({line.blank.text: line.blank for line in lines if line.blank is not None}.values())


def _line(step: AnyStep, identifier: Identifier | None, coding: bytes | None) -> DryLine:
    return DryLine(
        step.id,
        words_of(step),
        any_effect_of(step),
        tuple(to_hex(request) for request in requests_of(step, identifier, coding)),
        _what(step),
        any_reaction_of(step),
        any_settle_of(step),
        any_repeatable(step),
        _blank(step, identifier, coding),
    )


def _what(step: AnyStep) -> Message:
    match step:
        case Tell(text=text):
            return say("dry.tell", "shows: {text}", text=text)
        case Ask(text=text):
            return say("dry.ask", "asks: {text}", text=text)
        case Session(session=number):
            return say("dry.session", "opens session {number}; kept alive with 3E 80", number=f"{number:02X}")
        case RoutineStart():
            return say("dry.routine-start", "starts the routine")
        case RoutineStop():
            return say("dry.routine-stop", "stops the routine")
        case RoutineResult(every_s=every, timeout_s=timeout):
            told = "asks for the result every {every} s, at most {timeout} s"
            return say("dry.routine-result", told, every=f"{every:g}", timeout=f"{timeout:g}")
        case Observe() | KeyCycle() | TimedSequence() | DriveSegment() | WaitUntil() | TypeIn():
            return _with_person(step)
        case TesterTurn(text=text):
            return say(
                "dry.tester",
                "sends nothing while the other tester works, and takes pictures round it: {text}",
                text=text,
            )
        case Clear():
            return say("dry.clear", "clears the trouble codes of all modules reached, after reading them")
        case Read(name=name):
            return say("dry.read", "reads {name}", name=name)
        case Write(name=name, restore=restore):
            undo = f"restored by: {restore}" if restore else "cannot be undone"
            return say("dry.write", "writes {name} and reads it back; {undo}", name=name, undo=undo)
        case Coding(name=name, restore=restore):
            undo = f"restored by: {restore}" if restore else "cannot be undone"
            told = "reads {name}, composes it, writes it once and reads it back; {undo}"
            return say("dry.compose", told, name=name, undo=undo)
        case FunctionTests():
            return say("dry.tests", "reads the coding again and has each changed option tried at the car")
        case Actuate(text=text, seconds=seconds):
            return say(
                "dry.actuate", "{text}, {seconds} s, then control is given back", text=text, seconds=f"{seconds:g}"
            )
        case Access(level=level):
            return say("dry.access", "asks for access, level {level}", level=f"{level:02X}")
        case RestartModule(way=way):
            return say("dry.restart", "restarts the module ({way})", way=way.value)


def _with_person(step: Observe | KeyCycle | TimedSequence | DriveSegment | WaitUntil | TypeIn) -> Message:
    match step:
        case Observe(text=text, signals=signals, seconds=seconds):
            told = "records {signals} for {seconds} s while: {text}"
            return say("dry.observe", told, signals=", ".join(signals), seconds=f"{seconds:g}", text=text)
        case KeyCycle():
            return say(
                "dry.key-cycle",
                "{times} times: key off for {off} s, key on, {settle} s wait, {seconds} s of {signals}",
                times=step.times,
                off=f"{step.off_s:g}",
                settle=f"{step.settle_s:g}",
                seconds=f"{step.seconds:g}",
                signals=", ".join(step.signals) or "nothing",
            )
        case TimedSequence(text=text, marks=marks):
            acts = "; ".join(f"{mark.at_s:g} s {mark.act}" for mark in marks)
            return say("dry.sequence", "{text}: {acts}", text=text, acts=acts)
        case DriveSegment(text=text, hold_s=hold, timeout_s=timeout):
            told = "{text}; holds for {hold} s, given up after {timeout} s"
            return say("dry.drive", told, text=text, hold=f"{hold:g}", timeout=f"{timeout:g}")
        case WaitUntil(condition=condition, timeout_s=timeout):
            return say(
                "dry.wait", "waits until {what}, at most {timeout} s", what=condition.text, timeout=f"{timeout:g}"
            )
        case TypeIn(text=text, twice=twice):
            return say("dry.type", "has a person type{twice}: {text}", twice=" twice" if twice else "", text=text)


def _blank(step: AnyStep, identifier: Identifier | None, coding: bytes | None) -> Message | None:
    match step:
        case Coding() if coding is None:
            return say("dry.coding", "the bytes come from the car and the answers; shown whole before they are sent")
        case RoutineStart() | RoutineStop() | RoutineResult() if identifier is None:
            return say("dry.no-identifier", "identifier not given yet: typed or chosen at the car")
        case Write(value="", saved=saved):
            return say("dry.typed", "the value is what a person types as {saved}", saved=saved)
        case Access():
            return say("dry.key", "the key is the workshop's own; it stands in no file and no record")
        case Observe() | KeyCycle() | DriveSegment() if step.signals:
            return say("dry.reading", "read requests depend on which parameters the car supports; they only read")
        case _:
            return None


def _back() -> DryLine:
    what = say("dry.default-session", "back to the default session")
    return DryLine("end", "session", Effect.SESSION, (to_hex(_DEFAULT_SESSION),), what, Reaction.STOP, None, True)
