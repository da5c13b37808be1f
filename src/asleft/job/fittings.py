"""What the car has: one question for each fitting on which a need depends and that no picture shows."""

from __future__ import annotations

from collections.abc import Mapping

from asleft.event.fold import JobState
from asleft.model.message import Message, say
from asleft.run.asking import STOP, ask_choice
from asleft.run.log import RunLog

YES, NO, NOT_KNOWN = "it has", "it has not", "not known"
QUESTION = "plan.fitted"


def answered(state: JobState) -> dict[str, bool]:
    """Answers given so far in this job, by fitting; those that nobody knew are not among them."""
    found: dict[str, bool] = {}
    for question, answer in state.questions.values():
        if question.message.id == QUESTION and answer is not None and answer.text in (YES, NO):
            found[question.message.values["fitting"]] = answer.text == YES
    return found


def asked_for(state: JobState) -> frozenset[str]:
    """Fittings that were asked for in this job, whatever the answer was."""
    asked = (q for q, answer in state.questions.values() if q.message.id == QUESTION and answer is not None)
    return frozenset(question.message.values["fitting"] for question in asked)


async def ask_fittings(log: RunLog, questions: Mapping[str, str]) -> dict[str, bool]:
    """Ask for fittings, one question each.

    Args: questions: fitting -> words.
    Returns: the known ones. Raises: RunError (stopped-by-person).
    """
    found: dict[str, bool] = {}
    for fitting, words in questions.items():
        answer = await ask_choice(log, _question(fitting, words), (YES, NO, NOT_KNOWN, STOP))
        if answer.text in (YES, NO):
            found[fitting] = answer.text == YES
    return found


def _question(fitting: str, words: str) -> Message:
    return say(QUESTION, "Does the car have {words}? What is needed depends on it.", words=words, fitting=fitting)
