"""Security access with the workshop's own key: asked for once, never repeated by itself, nothing of it kept.

The seed goes to whoever authorised the workshop (``ports.access.AccessKey``); the key comes back and is sent once. Seed
and key stand in no event, no error and no screen: the journal withholds them, here they are never put into words. A
procedure or a book cannot name a program or a key; only the workshop's settings can.
"""

from __future__ import annotations

from asleft.codec.uds import access as service
from asleft.event import body as b
from asleft.model.effect import Settle, Settlement
from asleft.model.errors import Code, RefusedError, RunError
from asleft.model.message import say
from asleft.model.question import QuestionKind
from asleft.model.step_more import Access

from .asking import confirm
from .context import RunContext
from .effects import Sent, carry_out, settled

#: Refusals that mean: wait, or no more attempts. Source: ISO 14229-1, annex A (recalled).
INVALID_KEY, TOO_MANY, WAIT = 0x35, 0x36, 0x37
_WORDS = {
    INVALID_KEY: "the module did not take the key; an attempt is used up",
    TOO_MANY: "too many attempts: the module is locked; wait as its manual says",
    WAIT: "the module still waits after earlier attempts; wait as its manual says",
}


async def open_access(run: RunContext, step: Access) -> None:
    """Ask for the seed, have the key made by the workshop's own way, send it once.

    Raises: RunError: access-closed (no key, locked out, refused; one attempt a run), stopped-by-person.
        ModuleError, LinkError: not heard.
    """
    log, key_of = run.log, run.ports.key
    if key_of is None:
        raise RunError(Code.ACCESS_CLOSED, "the settings name no way to a key", step.id)
    if _locked(run):
        raise RunError(Code.ACCESS_CLOSED, "this module locked access earlier in this job", step.id)
    await run.open_gate()
    text = "Access level {level} of {module} by the workshop's own authorisation. {text}"
    message = say("access.confirm", text, level=f"{step.level:02X}", module=run.module.address.text, text=step.text)
    await confirm(log, message, kind=QuestionKind.EFFECT, yes="ask for access")
    with log.step(step.id, say("step.access", "access level {level}", level=f"{step.level:02X}")) as end:
        seed = await _seed(run, step)
        if service.is_open(seed):
            end.message = say("access.open", "access was open already")
            return
        key = await key_of.key(run.module.address, step.level, seed)
        sent = await carry_out(
            log,
            run.module,
            service.key_request(step.level, key),
            why=f"access: {step.id}",
            settle=Settle.NOT_READABLE,
        )
        _must_be_taken(run, sent)
        settled(log, sent.intent, Settlement.DONE, say("access.taken", "access is open until the session ends"))
        end.message = say("access.taken", "access is open until the session ends")


async def _seed(run: RunContext, step: Access) -> bytes:
    sent = await carry_out(
        run.log,
        run.module,
        service.seed_request(step.level),
        why=f"access: {step.id}",
        settle=Settle.NOT_READABLE,
    )
    _must_be_taken(run, sent)
    assert sent.answer is not None
    settled(run.log, sent.intent, Settlement.DONE, say("access.seed", "a seed was given; it is not kept"))
    return service.read_seed(sent.answer, step.level)


def _must_be_taken(run: RunContext, sent: Sent) -> None:
    """Raises RunError (access-closed) for a refusal, the error itself where nothing was heard."""
    if sent.error is None:
        return
    if isinstance(sent.error, RefusedError):
        words = _WORDS.get(sent.error.refusal, f"refused with {sent.error.refusal:02X}")
        raise RunError(Code.ACCESS_CLOSED, words, run.module.address.name)
    settled(
        run.log, sent.intent, Settlement.PERSON_MUST_DECIDE, say("access.unheard", "no answer; nothing is repeated")
    )
    raise sent.error


def _locked(run: RunContext) -> bool:
    """Whether this module refused a key in this job, or said that it is locked or waits: then it is not asked again."""
    asked = {
        e.body.intent.id: int(e.body.intent.payload[2:4], 16)
        for e in run.ports.journal.events()
        if isinstance(e.body, b.IntentWritten)
        and e.body.intent.payload.startswith("27")
        and e.body.intent.target.place == run.module.address.place
    }
    answers = (e.body for e in run.ports.journal.events() if isinstance(e.body, b.EffectAnswered))
    refused = (a for a in answers if a.intent in asked and a.refusal is not None)
    return any(asked[a.intent] % 2 == 0 or a.refusal in (INVALID_KEY, TOO_MANY, WAIT) for a in refused)
