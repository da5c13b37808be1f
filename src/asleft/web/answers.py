"""An answer as a form gives it, held against the question that is open before anything is done at a car. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from asleft.model.question import Question, QuestionKind

#: The longest answer and name that are taken, characters.
LONGEST_TEXT = 200
LONGEST_NAME = 60


@dataclass(frozen=True)
class Given:
    """What was pressed: which question, the answer, by whom, and whether a bench driver is to do what is asked."""

    question: str
    text: str
    by: str
    bench: bool = False


def unfit(given: Given, question: Question | None, *, attached: bool = False) -> str:
    """Why this answer cannot be taken, in words for the person at the car; empty when it can.

    Args: attached: the text names a document by its content, made by the engine.
    """
    if question is None or question.id != given.question:
        return "This question is no longer open: it was answered already. Look at what is asked now."
    if question.kind is QuestionKind.TYPE:
        if not given.text.strip():
            return "Nothing was typed. Type it as the manual prints it."
    elif given.text not in question.choices:
        return "This answer was not offered. Choose one of those shown."
    if len(given.text) > LONGEST_TEXT and not attached:
        return f"This is too long: at most {LONGEST_TEXT} characters."
    if not given.by.strip():
        return "An answer needs a name. Say who answers."
    if len(given.by) > LONGEST_NAME:
        return f"This name is too long: at most {LONGEST_NAME} characters."
    return ""


def bench_act(given: Given, question: Question) -> str:
    """What a bench driver does before the answer counts: only for the answer that says it is done, never for a stop."""
    return question.act if given.bench and given.text == question.choices[0] else ""
