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
    """A fault set once the act ``after`` is over; its size is drawn by seed between ``low`` and ``high``."""

    fault: str
    low: float | None = None
    high: float | None = None
    after: str = "do-work"


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
    """How somebody plays: answers by part of a question's text, used up one by one; acts after an act."""

    answers: dict[str, tuple[str, ...]] = {}
    after: dict[str, tuple[ActLine, ...]] = {}
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
        scene: which car, what hands do there (`scenes`).
        function: what it is about. goal: its right end.
        must_see: steps of the run that must be done or tried for conditions and execution to count at all.
        must_ask: parts of questions that must have been answered, likewise.
        par_min: virtual minutes within which time counts.
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
    must_see: tuple[str, ...] = ()
    must_ask: tuple[str, ...] = ()
    hidden: tuple[Hidden, ...] = ()
    hints: dict[str, str] = {}
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
