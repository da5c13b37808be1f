"""Questions to the person at the car, written down before they are asked and when they are answered."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine

from asleft.event import body as b
from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Answer, Question, QuestionKind
from asleft.model.reading import Evidence

from .log import RunLog

STOP = "stop here"


async def ask(log: RunLog, question: Question) -> Answer:
    """Ask, wait, write down. Raises RunError (stopped-by-person) when stop is said or chosen."""
    log.write(b.QuestionAsked(log.run, question))
    try:
        answer = await log.ports.person.answer(question)
    except RunError:
        log.write(b.QuestionAnswered(log.run, Answer(question.id, STOP, "")))
        raise
    return _written(log, question, answer)


def _written(log: RunLog, question: Question, answer: Answer) -> Answer:
    log.write(b.QuestionAnswered(log.run, answer), actor=answer.by)
    if answer.text == STOP:
        raise RunError(Code.STOPPED_BY_PERSON, where=question.message.text)
    return answer


async def ask_or_see(log: RunLog, question: Question, seen: Callable[[], Coroutine[None, None, None]]) -> Answer:
    """Ask, and take what the car itself shows as the answer when it comes first: hands at the key need no screen.

    Args: seen: begins to look, and returns once the car shows it.
    Raises: as ``ask``.
    """
    log.write(b.QuestionAsked(log.run, question))
    said = asyncio.ensure_future(log.ports.person.answer(question))
    shown = asyncio.ensure_future(seen())
    try:
        await asyncio.wait((said, shown), return_when=asyncio.FIRST_COMPLETED)
        if said.done():
            return _written(log, question, said.result())
        shown.result()
        return _written(log, question, Answer(question.id, question.choices[0], "", Evidence.MEASURED))
    except RunError as error:
        if error.code is Code.STOPPED_BY_PERSON and said.done() and said.exception() is error:
            log.write(b.QuestionAnswered(log.run, Answer(question.id, STOP, "")))
        raise
    finally:
        for task in (said, shown):
            task.cancel()
        await asyncio.gather(said, shown, return_exceptions=True)


async def confirm(
    log: RunLog,
    message: Message,
    *,
    kind: QuestionKind = QuestionKind.CONFIRM,
    cautions: tuple[str, ...] = (),
    act: str = "",
    details: tuple[str, ...] = (),
    yes: str = "done",
) -> Answer:
    """Ask for one word of consent, with the way to stop beside it."""
    shown = tuple(say("caution", "{text}", text=c) for c in cautions)
    return await ask(log, Question(log.number("q"), kind, message, (yes, STOP), shown, act, details))


async def ask_choice(log: RunLog, message: Message, choices: tuple[str, ...], *, act: str = "") -> Answer:
    """Ask for one of several answers."""
    return await ask(log, Question(log.number("q"), QuestionKind.CHOOSE, message, choices, act=act))
