"""Effects: intent, receipt, sent at most once, answered or not, settled. Nothing here ever repeats by itself."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import msgspec

from asleft.codec.effects import effect_of
from asleft.event import body as b
from asleft.model.effect import Intent, Settle, Settlement
from asleft.model.errors import AsleftError, RefusedError
from asleft.model.message import Message, say
from asleft.model.module import ModulePicture
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import to_hex

from .asking import STOP, ask
from .log import RunLog


@dataclass(frozen=True)
class Sent:
    """An effect that was sent: its intent, and the answer if one was heard."""

    intent: Intent
    answer: bytes | None
    error: AsleftError | None = None


def fingerprint(picture: ModulePicture) -> str:
    """SHA-256 over all that was read of a module before, hex: the state an intent starts from."""
    return hashlib.sha256(msgspec.json.encode(picture)).hexdigest()


async def carry_out(
    log: RunLog, picture: ModulePicture, payload: bytes, *, why: str, settle: Settle, stops: bool = False
) -> Sent:
    """Write the intent, send its bytes once, write the answer down. A refusal settles at once as not done.

    Bytes that went to this module before in this job go again only with a reason: the run's, or one asked for here.

    Args: stops: it stops what was begun or gives control back; that may go out while a run is being cut, and again.
    Raises: RecordError: the intent or receipt could not be had, nothing was sent. RunError: gate-closed (not in a state
        of the run that allows it), stopped-by-person.
    """
    log.machine.must_allow_effect(stops=stops)
    earlier = () if stops else earlier_intents(log, picture, payload)
    if earlier:
        why = f"{why}; again, number {len(earlier) + 1}: {await _reason(log, picture, payload, len(earlier))}"
    elif log.reason:
        why = f"{why}; {log.reason}"
    intent = Intent(
        id=log.number("i"),
        run=log.run,
        effect=effect_of(payload, log.ports.protocol),
        target=picture.address,
        serial=picture.value("serial-number"),
        fingerprint=fingerprint(picture),
        payload=to_hex(payload),
        why=why,
        settle=settle,
        repeat_of=earlier[-1].id if earlier else "",
    )
    receipt = log.ports.journal.intend(intent)
    try:
        answer = await log.ports.conversation.carry_out(receipt)
    except RefusedError as error:
        log.write(b.EffectAnswered(intent.id, "", error.refusal, say("effect.refused", "{why}", why=error.sentence())))
        settled(log, intent, Settlement.NOT_DONE, say("effect.not-done", "refused by the module; nothing changed"))
        return Sent(intent, None, error)
    except AsleftError as error:
        log.write(b.EffectAnswered(intent.id, "", None, say("effect.unheard", "{why}", why=error.sentence())))
        return Sent(intent, None, error)
    log.write(b.EffectAnswered(intent.id, to_hex(answer), None, say("effect.answered", "the module took it")))
    return Sent(intent, answer)


def earlier_intents(log: RunLog, picture: ModulePicture, payload: bytes) -> tuple[Intent, ...]:
    """Intents of this job that sent the same bytes to the same module, oldest first."""
    text = to_hex(payload)
    written = (e.body.intent for e in log.ports.journal.events() if isinstance(e.body, b.IntentWritten))
    return tuple(i for i in written if i.payload == text and i.target.place == picture.address.place)


async def _reason(log: RunLog, picture: ModulePicture, payload: bytes, times: int) -> str:
    """Why the same bytes go again: asked once a run."""
    if not log.reason:
        text = "{bytes} went to {module} {n} time(s) before in this job. Why does it go again? Type what has changed."
        shown = payload[:8].hex(" ").upper()
        message = say("effect.again", text, bytes=shown, module=picture.address.text, n=times)
        log.reason = (await ask(log, Question(log.number("q"), QuestionKind.TYPE, message, (STOP,)))).text.strip()
    return log.reason or "no reason given"


def settled(log: RunLog, intent: Intent, settlement: Settlement, message: Message) -> None:
    """Write down what was found out about an effect."""
    log.write(b.EffectSettled(intent.id, settlement, message))
