"""A technician who plays by a script: for the unattended demo and for tests."""

from __future__ import annotations

from collections.abc import Mapping

from asleft.job.fittings import NOT_KNOWN
from asleft.job.fittings import QUESTION as FITTED
from asleft.model.errors import Code, RunError
from asleft.model.question import Answer, Question, QuestionKind
from asleft.ports.clock import Clock
from asleft.run.asking import STOP

from .driver import BenchDriver

#: How long our scripted technician takes to answer, s.
_THINKS_S = 2.0


#: What is typed where the script says nothing: by the question's message id.
TYPED: Mapping[str, str] = {
    "effect.again": "looked over, nothing found; tried once more",
    "run.reason": "looked over, nothing found; tried once more",
    "retest.reason": "looked over, nothing found; measured once more",
    "retest.changed": "intake checked for leaks",
}


#: After so many attempts our scripted technician leaves it open.
MOST_ATTEMPTS = 3


class ScriptedPerson:
    """Does what is asked at the bench car and gives the first answer offered, or the one the script names.

    Args:
        driver: hands at the car.
        clock: answers take time.
        name: who answers.
        answers: part of a question's text -> answer; a list is used up one by one.
    """

    def __init__(
        self, driver: BenchDriver, clock: Clock, name: str, answers: Mapping[str, list[str]] | None = None
    ) -> None:
        self._driver = driver
        self._clock = clock
        self._name = name
        self._answers = {key: list(value) for key, value in (answers or {}).items()}
        self.asked: list[Question] = []
        self._stop = False

    @property
    def wants_stop(self) -> bool:
        """Whether the script says stop."""
        return self._stop

    def stop(self) -> None:
        """Say stop from now on."""
        self._stop = True

    async def answer(self, question: Question) -> Answer:
        """Think, do, answer."""
        self.asked.append(question)
        await self._clock.sleep_until(self._clock.now() + _THINKS_S)
        if self._stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        await self._driver.do(question.act)
        return Answer(question.id, self._choose(question), self._name)

    def _choose(self, question: Question) -> str:
        for part, answers in self._answers.items():
            if part in question.message.text and answers:
                return answers.pop(0)
        if question.message.id == "run.again" and int(question.message.values["n"]) >= MOST_ATTEMPTS:
            return question.choices[1]
        if question.message.id == FITTED:
            return NOT_KNOWN
        if question.message.id in TYPED:
            return TYPED[question.message.id]
        if question.kind is QuestionKind.TYPE and question.choices[0] == STOP:
            raise AssertionError(f"the script has no answer to: {question.message.text}")
        return question.choices[0]
