"""What nobody could read is put to the person, with the facts; and whether the module that answers is the one meant."""

from __future__ import annotations

from collections.abc import Iterable

from asleft.event.fold import EffectState, JobState, fold
from asleft.model.effect import Intent, Settlement
from asleft.model.errors import RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind

from . import wire
from .asking import ask
from .effects import settled
from .log import RunLog, RunPorts

UNDECIDED, HAPPENED, NOT_HAPPENED = "cannot be told", "it happened", "it did not happen"
#: Serial number of a module. Source: ISO 14229-1, annex C (recalled).
_SERIAL = 0xF18C


def undecided(state: JobState) -> tuple[EffectState, ...]:
    """Effects that a person must decide and nobody has been asked about."""
    asked = {str(q.message.values.get("intent", "")) for q, _ in state.questions.values()}
    open_ones = (e for e in state.effects.values() if e.settlement is Settlement.PERSON_MUST_DECIDE)
    return tuple(e for e in open_ones if e.intent.id not in asked)


async def put_to_person(log: RunLog) -> None:
    """Ask about every effect of this run that nobody could read. Raises RecordError."""
    found = undecided(fold(log.ports.journal.events()))
    await decide_all(log, (e for e in found if e.intent.run == log.run))


async def decide_all(log: RunLog, effects: Iterable[EffectState]) -> None:
    """One question each; a person who said stop is asked when the job goes on."""
    for effect in effects:
        if log.ports.person.wants_stop:
            return
        await decide(log, effect.intent, effect.message or say("recover.unknown", "this effect cannot be read back"))


async def decide(log: RunLog, intent: Intent, why: Message) -> None:
    """Put what nobody can read to the person, with the facts; left undecided, it stays so on the record."""
    text = "{module}: {bytes} may have been carried out or not: {why}. Look at the car. What is it?"
    values = {"module": intent.target.text, "bytes": intent.payload[:16], "why": why.text, "intent": intent.id}
    facts = (intent.why, f"serial number {intent.serial or 'not read'}", f"intended as {intent.effect.value}")
    question = Question(
        log.number("q"),
        QuestionKind.CHOOSE,
        say("recover.decide", text, **values),
        (UNDECIDED, HAPPENED, NOT_HAPPENED),
        details=facts,
    )
    try:
        answer = await ask(log, question)
    except RunError:
        return
    declared = {HAPPENED: Settlement.DONE, NOT_HAPPENED: Settlement.NOT_DONE}.get(answer.text)
    if declared is not None:
        words = say("recover.declared", "declared by {by}: {said}", by=answer.by, said=answer.text)
        settled(log, intent, declared, words)


async def other_module(ports: RunPorts, intent: Intent) -> Message | None:
    """Why the module that answers is not the one meant; None where it is, or nobody read its serial number before.

    Raises: as ``Conversation.ask``.
    """
    if not intent.serial:
        return None
    answer = await ports.conversation.ask(intent.target, wire.read_of(_SERIAL, ports.protocol))
    serial = wire.data_of(answer, _SERIAL, ports.protocol).rstrip(b"\x00 ").decode("ascii", "replace")
    if serial == intent.serial:
        return None
    return say("recover.other", "another module answers (serial {now}, was {before})", now=serial, before=intent.serial)
