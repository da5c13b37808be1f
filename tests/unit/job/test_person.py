"""The person reached through commands."""

from __future__ import annotations

import asyncio

import pytest

from asleft.job.person import CommandPerson
from asleft.model.errors import Code, InputError, RunError
from asleft.model.message import say
from asleft.model.question import Question, QuestionKind

CHOICE = Question("q1", QuestionKind.CHOOSE, say("x", "which?"), ("left", "right"))
TYPED = Question("q2", QuestionKind.TYPE, say("x", "type"), ("stop here",))


async def answered(question: Question, text: str, by: str = "R. Vale") -> str:
    person = CommandPerson()
    waiting = asyncio.ensure_future(person.answer(question))
    await asyncio.sleep(0)
    person.give(question.id, text, by)
    return (await waiting).text


def test_an_offered_answer_is_taken() -> None:
    assert asyncio.run(answered(CHOICE, "right")) == "right"
    assert asyncio.run(answered(TYPED, "0x5A31")) == "0x5A31"


@pytest.mark.parametrize(("text", "by"), [("up", "R. Vale"), ("left", " ")])
def test_other_answers_are_refused(text: str, by: str) -> None:
    with pytest.raises(InputError):
        asyncio.run(answered(CHOICE, text, by))


def test_a_question_is_answered_once() -> None:
    async def main() -> None:
        person = CommandPerson()
        waiting = asyncio.ensure_future(person.answer(CHOICE))
        await asyncio.sleep(0)
        person.give("q1", "left", "R. Vale")
        await waiting
        with pytest.raises(InputError, match="not open"):
            person.give("q1", "right", "R. Vale")

    asyncio.run(main())


def test_stop_ends_the_wait_and_can_be_taken_back() -> None:
    async def main() -> None:
        person = CommandPerson()
        waiting = asyncio.ensure_future(person.answer(CHOICE))
        await asyncio.sleep(0)
        person.stop()
        with pytest.raises(RunError) as caught:
            await waiting
        assert caught.value.code is Code.STOPPED_BY_PERSON
        with pytest.raises(RunError):
            await person.answer(CHOICE)
        person.resume()
        assert not person.wants_stop

    asyncio.run(main())
