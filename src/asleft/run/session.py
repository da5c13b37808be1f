"""Diagnostic sessions: those that end by themselves are opened; one with lasting effect is an effect like any other.

Which is which the bytes say (``codec.effects``): in UDS the default and the extended session are harmless, in KWP2000
the standard one; all others are the makers' and may change what the module does.
"""

from __future__ import annotations

from asleft.codec.effects import effect_of
from asleft.codec.refusal import Protocol
from asleft.codec.uds import session as service
from asleft.model.effect import Settle, Settlement
from asleft.model.errors import RefusedError
from asleft.model.message import say
from asleft.model.question import QuestionKind
from asleft.model.step import Session

from .asking import confirm
from .context import RunContext
from .effects import carry_out, settled
from .routine import EMERGENCY


def lasts(session: int, protocol: Protocol) -> bool:
    """Whether opening this session needs a receipt."""
    return effect_of(service.make_request(session), protocol).needs_receipt


async def session_step(run: RunContext, step: Session) -> None:
    """Open it; with consent, intent and receipt where it has a lasting effect.

    Raises: RefusedError; ModuleError, LinkError: not heard. RunError: gate-closed, stopped-by-person.
    """
    title = say("step.session", "open diagnostic session {n}", n=f"{step.session:02X}")
    if not lasts(step.session, run.ports.protocol):
        with run.log.step(step.id, title):
            await run.ports.conversation.open_session(run.module.address, step.session)
        return
    payload = service.make_request(step.session)
    await run.open_gate()
    text = "Open session {n} of {module}. It is left at the end of the run; functions of the module may rest meanwhile."
    message = say("session.confirm", text, n=f"{step.session:02X}", module=run.module.address.text)
    details = (f"to {run.module.address.text}", f"bytes {payload.hex(' ').upper()}", EMERGENCY)
    await confirm(run.log, message, kind=QuestionKind.EFFECT, details=details, yes="open it")
    with run.log.step(step.id, title):
        sent = await carry_out(run.log, run.module, payload, why=f"session: {step.id}", settle=Settle.NOT_READABLE)
        if sent.error is None:
            settled(run.log, sent.intent, Settlement.DONE, say("session.open", "the session is open"))
            return
        if not isinstance(sent.error, RefusedError):
            unheard = say("session.unheard", "no answer; a module leaves a session when nothing is asked of it for 5 s")
            settled(run.log, sent.intent, Settlement.PERSON_MUST_DECIDE, unheard)
        raise sent.error
