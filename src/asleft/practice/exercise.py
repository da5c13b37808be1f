"""Exercises as data: a scene, what is hidden in it, what is right, hints, honesty checks, typical mistakes.

Files in the closed form of the book; an error names file, line, field, why, and what to write instead::

    one = load_exercise("yaw-sloping-floor")
    one.title, one.goal
"""

from __future__ import annotations

from enum import StrEnum, unique
from pathlib import Path

import msgspec

from asleft.book.files import read_struct
from asleft.model.errors import Code, InputError

#: The exercises that come with the program.
FOLDER = Path(__file__).with_name("exercises")


@unique
class Goal(StrEnum):
    """What the right end is: proven PASS; not begun on the car; done, judged FAIL, and left standing."""

    PROVE = "prove"
    NOT_BEGUN = "not-begun"
    FAIL_STANDS = "fail-stands"


@unique
class Item(StrEnum):
    """Items of the sheet."""

    PICTURES = "pictures"
    SCREENING = "screening"
    ORDER = "order"
    CONDITIONS = "conditions"
    EXECUTION = "execution"
    JUDGEMENT = "judgement"
    RECORD = "record"
    TIME = "time"


class ActLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One act at the bench car, ``after_s`` after the one before; its arguments by kind."""

    act: str
    after_s: float = 0.0
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    switches: dict[str, bool] = {}

    @property
    def args(self) -> dict[str, float | str | bool]:
        """All arguments."""
        return {**self.numbers, **self.words, **self.switches}


class Hidden(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A fault set once the act ``after`` is over (``begin``: before anything else).

    Its size is drawn by seed between ``low`` and ``high``; ``gone``: the act after which it is mended again.
    """

    fault: str
    low: float | None = None
    high: float | None = None
    after: str = "do-work"
    gone: str = ""


class Tool(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Something that can be done or looked at at the bench car beside what is asked.

    Attributes:
        words: on its button. lines: acts. act, pick, unit: an instrument, part of what it gives, its unit.
        tells: what eyes see, with ``{size}`` for the size of the first hidden fault.
    """

    words: str
    lines: tuple[ActLine, ...] = ()
    act: str = ""
    pick: str = ""
    unit: str = ""
    tells: str = ""


class Honest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a person says to a question holds against the truth, or the record is dishonest.

    Attributes:
        asked: part of the question's text.
        never: an answer that is false while a hidden fault is there; empty: the typed number is compared.
        act, pick, within: instrument of the bench car, part of what it gives, largest distance.
    """

    asked: str
    never: str = ""
    act: str = ""
    pick: str = ""
    within: float = 0.0


class Deed(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How somebody plays.

    Attributes: answers: part of a question's text -> answers, used up one by one. after: act of a question -> acts
        after it. doing: part of a question's text -> acts before it is answered, once. wait_s: lost on the way.
    """

    answers: dict[str, tuple[str, ...]] = {}
    after: dict[str, tuple[ActLine, ...]] = {}
    doing: dict[str, tuple[ActLine, ...]] = {}
    wait_s: float = 0.0


class Mistake(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A typical mistake: what it is, how it is played, which points it loses; a dangerous one fails at once."""

    id: str
    tells: str
    deed: Deed
    loses: dict[str, float] = {}
    dangerous: bool = False


class Exercise(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One exercise.

    Attributes:
        scene: which car, what hands do there (`scenes`). options: of the bench car, beyond the scene's.
        step: on the ladder, 1 (follow the procedure) to 6 (no help at all).
        function: what it is about. goal: its right end.
        must_see: steps of the run that must be done or tried for conditions and execution to count at all.
        must_ask: parts of questions that must have been answered, likewise.
        must_refuse: entry conditions that must have kept the gate closed in a run in which nothing was sent; that run
            is no attempt that failed.
        par_min: virtual minutes within which time counts.
        before_us: what others did at the car before it came, after the faults of the begin.
        tools: what can be done or looked at at the car besides.
        hints: part of a question's text -> hint. right: what the ideal technician does otherwise than the scene.
    """

    id: str
    title: str
    scene: str
    story: str
    function: str
    goal: Goal
    par_min: float
    teaches: str
    options: dict[str, bool | float | str] = {}
    step: int = 3
    must_see: tuple[str, ...] = ()
    must_ask: tuple[str, ...] = ()
    must_refuse: tuple[str, ...] = ()
    hidden: tuple[Hidden, ...] = ()
    before_us: tuple[ActLine, ...] = ()
    hints: dict[str, str] = {}
    tools: tuple[Tool, ...] = ()
    honest: tuple[Honest, ...] = ()
    right: Deed = Deed()
    mistakes: tuple[Mistake, ...] = ()


def read_exercise(path: Path) -> Exercise:
    """Read one file. Raises InputError: exercise missing, or all that is wrong in it (procedure-bad)."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(Code.PROCEDURE_MISSING, f"no exercise file: {error.strerror}", str(path)) from error
    return read_struct(data, path.name, Exercise).value


def names() -> tuple[str, ...]:
    """Exercises that come with the program."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))


def load_exercise(name: str) -> Exercise:
    """By name, or the path of a file. Raises: as `read_exercise`; unknown names list what there is."""
    if name.endswith(".yaml"):
        return read_exercise(Path(name))
    if name not in names():
        raise InputError(Code.PROCEDURE_MISSING, f"no exercise {name!r}; there are {', '.join(names())}")
    return read_exercise(FOLDER / f"{name}.yaml")
