"""Questions to the person at the car, written down before they are asked and when they are answered."""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Answer, Question, QuestionKind

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
    log.write(b.QuestionAnswered(log.run, answer), actor=answer.by)
    if answer.text == STOP:
        raise RunError(Code.STOPPED_BY_PERSON, where=question.message.text)
    return answer


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
