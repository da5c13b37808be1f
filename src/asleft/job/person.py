"""The person at the car, reached through commands: questions wait here until a page or a command answers them."""

from __future__ import annotations

import asyncio

from asleft.model.errors import Code, InputError, RunError
from asleft.model.question import Answer, Question, QuestionKind


class CommandPerson:
    """The Person port for a page or a command line: ``give`` answers, ``stop`` ends the wait."""

    def __init__(self) -> None:
        self._waiting: dict[str, tuple[Question, asyncio.Future[Answer]]] = {}
        self._stop = False
        self._pause = False

    @property
    def wants_pause(self) -> bool:
        """Whether a pause was asked for and has not begun."""
        return self._pause

    def pause(self) -> None:
        """Ask for a pause before the next step."""
        self._pause = True

    def paused(self) -> None:
        """The pause has begun."""
        self._pause = False

    @property
    def wants_stop(self) -> bool:
        """Whether stop was said and not yet taken back."""
        return self._stop

    async def answer(self, question: Question) -> Answer:
        """Wait for ``give``; RunError (stopped-by-person) when ``stop`` comes first."""
        if self._stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._waiting[question.id] = (question, future)
        try:
            return await future
        finally:
            self._waiting.pop(question.id, None)

    def give(self, question_id: str, text: str, by: str) -> None:
        """Answer an open question.

        Raises: InputError: it is not open (answered already, or another one is), or the answer is not one offered.
        """
        self.check(question_id, text, by)
        future = self._waiting[question_id][1]
        if not future.done():
            future.set_result(Answer(question_id, text, by))

    def check(self, question_id: str, text: str, by: str) -> Question:
        """The open question that this would answer. Raises: as ``give``."""
        if question_id not in self._waiting:
            raise InputError(Code.INTERNAL, f"question {question_id} is not open")
        question = self._waiting[question_id][0]
        if question.kind is not QuestionKind.TYPE and text not in question.choices:
            raise InputError(Code.INTERNAL, f"{text!r} is not one of {', '.join(question.choices)}")
        if not by.strip():
            raise InputError(Code.INTERNAL, "an answer needs a name")
        return question

    def stop(self) -> None:
        """Say stop: whatever waits for an answer ends."""
        self._stop = True
        for _, future in self._waiting.values():
            if not future.done():
                future.set_exception(RunError(Code.STOPPED_BY_PERSON))

    def resume(self) -> None:
        """Take stop and pause back, to go on with the job."""
        self._stop = self._pause = False
