"""Levels of an exercise: how many hints somebody gets. Pure."""

from __future__ import annotations

from enum import StrEnum, unique

from asleft.model.errors import Code, InputError

from .exercise import Exercise


@unique
class Level(StrEnum):
    """From much help to none: hint beside each question; when asked for; one in all; none."""

    FOLLOW = "follow"
    ASK = "ask"
    ONE = "one"
    EXAM = "exam"

    @property
    def most(self) -> int:
        """Hints that may be asked for."""
        return {Level.FOLLOW: 0, Level.ASK: 1000, Level.ONE: 1, Level.EXAM: 0}[self]

    @property
    def tells(self) -> str:
        """In words."""
        return _WORDS[self]


_WORDS = {
    Level.FOLLOW: "follow: a hint stands beside the question",
    Level.ASK: "ask: a hint when you ask for it",
    Level.ONE: "one: a single hint in the whole exercise",
    Level.EXAM: "exam: no hints",
}


def read_level(text: str) -> Level:
    """A level by its name. Raises InputError: there is none of this name."""
    try:
        return Level(text)
    except ValueError:
        raise InputError(Code.ACT_UNKNOWN, f"no level {text!r}; there are {', '.join(Level)}") from None


def hint_for(exercise: Exercise, level: Level, question: str, asked: tuple[str, ...] = ()) -> str:
    """The hint shown beside a question; empty: none.

    Args: asked: texts of the questions for which a hint was asked, at most as many as the level gives.
    """
    shown = level is Level.FOLLOW or question in asked[: level.most]
    return next((hint for part, hint in exercise.hints.items() if shown and part in question), "")


def may_ask(exercise: Exercise, level: Level, question: str, asked: tuple[str, ...]) -> bool:
    """Whether a hint can be asked for now."""
    there = any(part in question for part in exercise.hints)
    return there and question not in asked and len(asked) < level.most
