"""Dry run: every step and every byte that would be sent, with its effect, without a car.

The lines come from the same list of steps that ``run`` carries out. What depends on the car (how often a result is
asked for, which modules a clear reaches) is said in words beside the bytes.

Source: ISO 14229-1 for services 10, 31 and 14 (recalled).
"""

from __future__ import annotations

from typing import assert_never

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
    Step,
    Tell,
    effect_of,
    reaction_of,
    repeatable,
    settle_of,
)

from .identifier import Identifier
from .procedure import Procedure, Way

_DEFAULT_SESSION = 1


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


def dry_run(procedure: Procedure, way: Way, identifier: Identifier | None = None) -> tuple[DryLine, ...]:
    """The steps of one way.

    Args: identifier: typed or chosen; None leaves the routine's bytes blank and says so.
    Returns: a line a step, then one for the return to the default session when a session was opened.
    """
    steps = procedure.ways.steps(way)
    lines = [_line(step, identifier) for step in steps]
    if any(isinstance(step, Session) for step in steps):
        lines.append(_back())
    return tuple(lines)


def _line(step: Step, identifier: Identifier | None) -> DryLine:
    sends, what, blank = _content(step, identifier)
    kind = str(step.__struct_config__.tag)
    return DryLine(
        step.id,
        kind,
        effect_of(step),
        tuple(to_hex(s) for s in sends),
        what,
        reaction_of(step),
        settle_of(step),
        repeatable(step),
        blank,
    )


def _content(step: Step, identifier: Identifier | None) -> tuple[tuple[bytes, ...], Message, Message | None]:
    no_identifier = say("dry.no-identifier", "identifier not given yet: typed or chosen at the car")
    match step:
        case Tell():
            return (), say("dry.tell", "shows: {text}", text=step.text), None
        case Ask():
            return (), say("dry.ask", "asks: {text}", text=step.text), None
        case Session():
            what = say("dry.session", "opens session {number}; kept alive with 3E 80", number=f"{step.session:02X}")
            return (bytes((0x10, step.session)),), what, None
        case RoutineStart():
            sends = () if identifier is None else (identifier.request,)
            return sends, say("dry.routine-start", "starts the routine"), None if identifier else no_identifier
        case RoutineResult():
            sends = () if identifier is None else (identifier.result_request,)
            what = say(
                "dry.routine-result",
                "asks for the result every {every} s, at most {timeout} s",
                every=f"{step.every_s:g}",
                timeout=f"{step.timeout_s:g}",
            )
            return sends, what, None if identifier else no_identifier
        case Observe():
            return (), _observe(step), _reading(step.signals)
        case KeyCycle():
            return (), _key_cycle(step), _reading(step.signals)
        case Clear():
            what = say("dry.clear", "clears the trouble codes of all modules reached, after reading them")
            return (bytes((0x14, 0xFF, 0xFF, 0xFF)),), what, None
        case _:
            assert_never(step)


def _observe(step: Observe) -> Message:
    return say(
        "dry.observe",
        "records {signals} for {seconds} s while: {text}",
        signals=", ".join(step.signals),
        seconds=f"{step.seconds:g}",
        text=step.text,
    )


def _key_cycle(step: KeyCycle) -> Message:
    return say(
        "dry.key-cycle",
        "{times} times: key off for {off} s, key on, {settle} s wait, {seconds} s of {signals}",
        times=step.times,
        off=f"{step.off_s:g}",
        settle=f"{step.settle_s:g}",
        seconds=f"{step.seconds:g}",
        signals=", ".join(step.signals) or "nothing",
    )


def _reading(signals: tuple[str, ...]) -> Message | None:
    if not signals:
        return None
    return say("dry.reading", "read requests depend on which parameters the car supports; they only read")


def _back() -> DryLine:
    what = say("dry.default-session", "back to the default session")
    sends = (to_hex(bytes((0x10, _DEFAULT_SESSION))),)
    return DryLine("end", "session", Effect.SESSION, sends, what, Reaction.STOP, None, True)
