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
from asleft.model.reading import to_hex

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


async def carry_out(log: RunLog, picture: ModulePicture, payload: bytes, *, why: str, settle: Settle) -> Sent:
    """Write the intent, send its bytes once, write the answer down. A refusal settles at once as not done.

    Raises: RecordError: the intent or receipt could not be had, nothing was sent.
    """
    intent = Intent(
        id=log.number("i"),
        run=log.run,
        effect=effect_of(payload),
        target=picture.address,
        serial=picture.value("serial-number"),
        fingerprint=fingerprint(picture),
        payload=to_hex(payload),
        why=why,
        settle=settle,
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


def settled(log: RunLog, intent: Intent, settlement: Settlement, message: Message) -> None:
    """Write down what was found out about an effect."""
    log.write(b.EffectSettled(intent.id, settlement, message))
