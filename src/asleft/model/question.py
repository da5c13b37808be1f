"""What a person is asked and answers."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .message import Message
from .reading import Evidence


@unique
class QuestionKind(StrEnum):
    """Closed set. ``ACT``: do it, then confirm. ``EFFECT``: hold to confirm something that changes the car."""

    CONFIRM = "confirm"
    DECLARE = "declare"
    ACT = "act"
    TYPE = "type"
    CHOOSE = "choose"
    EFFECT = "effect"


class Question(msgspec.Struct, frozen=True):
    """One question to the person at the car.

    Attributes:
        id: unique in the job.
        kind: form.
        message: the text.
        choices: offered answers, at least one unless typed.
        cautions: shown before it.
        act: machine name of the act a bench driver would do for it; empty when none.
        details: more lines, for example the bytes that will be sent.
    """

    id: str
    kind: QuestionKind
    message: Message
    choices: tuple[str, ...] = ("done",)
    cautions: tuple[Message, ...] = ()
    act: str = ""
    details: tuple[str, ...] = ()


class Answer(msgspec.Struct, frozen=True):
    """What was answered, by whom."""

    question: str
    text: str
    by: str
    evidence: Evidence = Evidence.DECLARED
