"""More steps of procedures: those that books hold and dry runs show, beside those that ``run`` carries out today.

``AnyStep`` is the whole closed union. A way that holds one of these is not offered to ``run`` until it handles it; the
book says which. Identifiers stand as their source prints them, with the base said.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .condition import Condition
from .effect import Effect, Reaction, Settle
from .step import Step, effect_of, reaction_of, settle_of
from .step_coding import Coding, FunctionTests


@unique
class Base(StrEnum):
    """In which base and form a source prints the bytes of an identifier, option or value."""

    HEX = "hex"
    HEX_BYTES = "hex-bytes"
    DECIMAL = "decimal"
    DECIMAL_BYTES = "decimal-bytes"


@unique
class ScalingKind(StrEnum):
    """Closed set of ways to read bytes."""

    NUMBER = "number"
    TEXT = "text"
    HEX = "hex"
    CODED = "coded"


class CodedText(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One value of a coded quantity and its words."""

    value: int
    text: str


class Scaling(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the bytes of a data identifier become a value.

    Attributes:
        kind: number (value = raw · factor + offset), text (ASCII), hex, coded (one of ``texts``).
        at: first byte after the identifier, from 0. length: bytes; 0: to the end.
        bit, bits: for part of a byte: lowest bit (0 to 7) and how many; 0 bits: whole bytes.
        signed: two's complement. big_endian: high byte first.
        unit: of the value.
    """

    kind: ScalingKind = ScalingKind.HEX
    at: int = 0
    length: int = 0
    bit: int = 0
    bits: int = 0
    signed: bool = False
    big_endian: bool = True
    factor: float = 1.0
    offset: float = 0.0
    unit: str = "1"
    texts: tuple[CodedText, ...] = ()


class Read(msgspec.Struct, frozen=True, tag="read", forbid_unknown_fields=True):
    """Read one data identifier and keep it, for the pictures before and after. Source: ISO 14229-1, service 22."""

    id: str
    name: str
    identifier: str
    printed: Base
    scaling: Scaling = Scaling()
    save: str = ""


class TypeIn(msgspec.Struct, frozen=True, tag="type-in", forbid_unknown_fields=True):
    """Have a person type a value from the page or the part.

    Attributes:
        low, high: limits of a number in ``unit``. length: characters a code must have; 0: any.
        letters: characters a code may hold, in the order of their values; empty: any.
        weights, modulus: of its check character, the last one: weighted sum of those before, modulo; 0: it has none.
        unlike: saves of earlier codes that this one cannot equal: no two parts bear the same one.
        twice: typed a second time without seeing the first.
        signal: where the number is a gauge's reading that the proof is computed from: what it is a reading of.
        gauge: the instrument, in words. resolution, accuracy: its step and the half-width of its error, in ``unit``.
    """

    id: str
    text: str
    save: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    length: int = 0
    letters: str = ""
    twice: bool = True
    signal: str = ""
    gauge: str = ""
    resolution: float = 0.0
    accuracy: float = 0.0
    weights: tuple[int, ...] = ()
    modulus: int = 0
    unlike: tuple[str, ...] = ()


class WaitUntil(msgspec.Struct, frozen=True, tag="wait-until", forbid_unknown_fields=True):
    """Wait until a condition holds, at most ``timeout_s``."""

    id: str
    text: str
    condition: Condition
    timeout_s: float


class RoutineStop(msgspec.Struct, frozen=True, tag="routine-stop", forbid_unknown_fields=True):
    """Stop the procedure's routine. Source: ISO 14229-1, service 31 02."""

    id: str
    reaction: Reaction = Reaction.FINISH


class Write(msgspec.Struct, frozen=True, tag="write", forbid_unknown_fields=True):
    """Write one data identifier. Source: ISO 14229-1, service 2E.

    Attributes:
        value: bytes as printed, in the same base and form; empty when ``saved`` names a typed value.
        saved: name under which a person's typing was kept.
        restore: how the old value comes back; empty: cannot be undone, and that is said before it is sent.
    """

    id: str
    name: str
    identifier: str
    printed: Base
    value: str = ""
    saved: str = ""
    scaling: Scaling = Scaling()
    settle: Settle = Settle.READ_BACK
    restore: str = ""
    reaction: Reaction = Reaction.NEVER_INTERRUPT


class Actuate(msgspec.Struct, frozen=True, tag="actuate", forbid_unknown_fields=True):
    """Control an output for some seconds, then give control back. Source: ISO 14229-1, service 2F."""

    id: str
    text: str
    identifier: str
    printed: Base
    state: str
    seconds: float
    reaction: Reaction = Reaction.STOP


class Access(msgspec.Struct, frozen=True, tag="access", forbid_unknown_fields=True):
    """Security access by the workshop's own authorisation. No key, seed or program is ever named in a book.

    Source: ISO 14229-1, service 27.
    """

    id: str
    level: int
    text: str = ""


@unique
class Restart(StrEnum):
    """Ways to restart a module. Source: ISO 14229-1, service 11, sub-functions 01 to 03."""

    HARD = "hard"
    KEY_OFF_ON = "key-off-on"
    SOFT = "soft"


class RestartModule(msgspec.Struct, frozen=True, tag="restart-module", forbid_unknown_fields=True):
    """Have the module start anew."""

    id: str
    way: Restart = Restart.HARD
    settle_s: float = 3.0
    reaction: Reaction = Reaction.FINISH


@unique
class Edge(StrEnum):
    """What of a signal shows an act: it rises or falls, or its module begins or ceases to answer (the key)."""

    RISES = "rises"
    FALLS = "falls"
    ANSWERS = "answers"
    SILENT = "silent"


@unique
class Sound(StrEnum):
    """The tool's own sounds for acts."""

    PRESS = "press"
    RELEASE = "release"
    TURN = "turn"
    WAIT = "wait"


class Mark(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One act of a timed sequence.

    Attributes:
        act: what the person does.
        at_s: when, after the first mark, s. early_s, late_s: how far off it still counts, s.
        signal, edge: where a signal shows it, and how; empty: declared.
        level, back: a rise counts at ``level`` or above, a fall at ``back`` or below, in the signal's unit; between
            them nothing changes.
        gap_low_s, gap_high_s: least and most time since the mark before, s; None: not limited.
        lag_s: how much later than the act the signal may show it (a module that runs on after key off), s.
        sound: of the cue.
    """

    act: str
    at_s: float
    early_s: float = 0.5
    late_s: float = 0.5
    signal: str = ""
    edge: Edge | None = None
    level: float | None = None
    back: float | None = None
    gap_low_s: float | None = None
    gap_high_s: float | None = None
    lag_s: float = 0.0
    sound: Sound = Sound.TURN


class TimedSequence(msgspec.Struct, frozen=True, tag="timed-sequence", forbid_unknown_fields=True):
    """Key, pedal or switch acts at their times, coached and timed, watched in the default session where a signal shows.

    Attributes:
        prepare: state of the car before the count-in, in words; prepare_act: machine name of it for a bench driver.
        act: machine name of the whole, for a bench driver.
        attempts: after so many misses it is given up and the causes are shown.
        on_miss: what to do before it is begun again, as the source says.
    """

    id: str
    text: str
    marks: tuple[Mark, ...]
    save: str = ""
    prepare: str = ""
    prepare_act: str = ""
    act: str = ""
    attempts: int = 3
    on_miss: str = ""


class TesterTurn(msgspec.Struct, frozen=True, tag="tester-turn", forbid_unknown_fields=True):
    """The other tester does it: our picture before, our requests silent meanwhile, its start and end marked by the
    person, our picture after, its report attached.

    Attributes:
        act: machine name of what the other tester does, for a bench driver.
        ends: ways in which it may say that it ended; the first is the good one.
        report: whether its report is asked for.
    """

    id: str
    text: str
    act: str = ""
    ends: tuple[str, ...] = ("ended as the manual says", "ended otherwise")
    report: bool = True


class DriveSegment(msgspec.Struct, frozen=True, tag="drive-segment", forbid_unknown_fields=True):
    """Drive so that conditions hold for some time; one drives, another reads.

    Attributes:
        hold_s: how long all conditions must hold together, s. timeout_s: after which it is given up, s.
    """

    id: str
    text: str
    conditions: tuple[Condition, ...]
    hold_s: float
    timeout_s: float
    signals: tuple[str, ...] = ()
    save: str = ""


MoreStep = (
    Read
    | TypeIn
    | WaitUntil
    | RoutineStop
    | Write
    | Actuate
    | Access
    | RestartModule
    | TimedSequence
    | TesterTurn
    | DriveSegment
    | Coding
    | FunctionTests
)
AnyStep = Step | MoreStep
MORE_STEPS = (
    Read,
    TypeIn,
    WaitUntil,
    RoutineStop,
    Write,
    Actuate,
    Access,
    RestartModule,
    TimedSequence,
    TesterTurn,
    DriveSegment,
    Coding,
    FunctionTests,
)


def any_effect_of(step: AnyStep) -> Effect:
    """What a step does to the car."""
    match step:
        case Read() | TypeIn() | WaitUntil() | TimedSequence() | TesterTurn() | DriveSegment() | FunctionTests():
            return Effect.READS
        case RoutineStop() | Actuate():
            return Effect.ACTUATES
        case Write() | Coding():
            return Effect.WRITES
        case Access():
            return Effect.ACCESS
        case RestartModule():
            return Effect.RESTARTS
        case _:
            return effect_of(step)


def any_repeatable(step: AnyStep) -> bool:
    """Whether a step may be done again without being asked for: never where it has an effect."""
    return not any_effect_of(step).needs_receipt


def any_reaction_of(step: AnyStep) -> Reaction:
    """What the step does when an interlock breaks."""
    match step:
        case RoutineStop() | Write() | Actuate() | RestartModule() | Coding():
            return step.reaction
        case Read() | TypeIn() | WaitUntil() | Access() | TimedSequence() | TesterTurn() | DriveSegment():
            return Reaction.STOP
        case FunctionTests():
            return Reaction.STOP
        case _:
            return reaction_of(step)


def any_settle_of(step: AnyStep) -> Settle | None:
    """How its effect is settled; None for a step without one."""
    match step:
        case Write() | Coding():
            return step.settle
        case RoutineStop():
            return Settle.ROUTINE_RESULT
        case Actuate() | Access() | RestartModule():
            return Settle.NOT_READABLE
        case Read() | TypeIn() | WaitUntil() | TimedSequence() | TesterTurn() | DriveSegment() | FunctionTests():
            return None
        case _:
            return settle_of(step)


def words_of(step: AnyStep) -> str:
    """The kind of step, as files spell it."""
    tag = step.__struct_config__.tag
    assert isinstance(tag, str)
    return tag
