"""The planned clear of trouble codes: each module once, with intent and receipt, read again afterwards."""

from __future__ import annotations

from asleft.codec.kwp import codes as kwp_codes
from asleft.codec.refusal import Protocol
from asleft.codec.trouble_code import describe
from asleft.codec.uds import read_codes
from asleft.event import body as b
from asleft.model.effect import Settlement
from asleft.model.errors import AsleftError, RefusedError
from asleft.model.message import Message, say
from asleft.model.module import ModuleAddress, ModulePicture
from asleft.model.question import QuestionKind
from asleft.model.step import Clear
from asleft.model.trouble import CodeKind, TroubleCode

from .asking import confirm
from .effects import Sent, carry_out, settled
from .log import RunLog
from .wire import clear_all

#: Status bits that make a code count as there: failed now, pending, confirmed. Source: ISO 14229-1, annex D (recalled).
PRESENT = 0x0D


async def read_present(log: RunLog, address: ModuleAddress) -> tuple[TroubleCode, ...]:
    """Codes of a module that are there now.

    Raises: ModuleError: silent, refused, malformed.
    """
    if log.ports.protocol is Protocol.KWP2000:
        told = kwp_codes.read_codes(await log.ports.conversation.ask(address, kwp_codes.codes_request()))
        return tuple(
            TroubleCode(c.code, address.name, CodeKind.STORED, None, c.status, describe(c.code).text) for c in told
        )
    answer = await log.ports.conversation.ask(address, read_codes.list_request(PRESENT))
    return tuple(
        TroubleCode(c.code, address.name, CodeKind.STORED, c.failure_type, c.status, describe(c.code).text)
        for c in read_codes.read_list(answer).codes
    )


async def clear_codes(log: RunLog, step: Clear, reached: tuple[ModulePicture, ...]) -> None:
    """Ask once, then clear module by module; what remains is read, not assumed.

    Raises: RunError (stopped-by-person); RecordError.
    """
    names = ", ".join(m.address.name for m in reached)
    await confirm(
        log,
        say("clear.confirm", "Clear the trouble codes of: {names}. The pictures keep them.", names=names),
        kind=QuestionKind.EFFECT,
        details=tuple(f"to {m.address.text}: {clear_all(log.ports.protocol).hex(' ').upper()}" for m in reached),
        yes="clear",
    )
    with log.step(step.id, say("step.clear", "the planned clear: {names}", names=names)) as end:
        removed: list[TroubleCode] = []
        remaining: list[TroubleCode] = []
        cleared: list[str] = []
        for picture in reached:
            before, after = await _clear_one(log, step, picture)
            if after is not None:
                cleared.append(picture.address.name)
                remaining += after
                removed += [c for c in before if c.full not in {a.full for a in after}]
        log.write(b.CodesCleared(log.run, tuple(cleared), tuple(removed), tuple(remaining), "the one planned clear"))
        end.message = say("clear.done", "{n} cleared, {m} still there", n=len(removed), m=len(remaining))


async def _clear_one(
    log: RunLog, step: Clear, picture: ModulePicture
) -> tuple[tuple[TroubleCode, ...], tuple[TroubleCode, ...] | None]:
    """Codes before and after; after is None when nobody knows."""
    before: tuple[TroubleCode, ...] = ()
    try:
        before = await read_present(log, picture.address)
    except AsleftError as error:
        log.write(
            b.Noted(
                say(
                    "clear.unread",
                    "{module}: codes not read before the clear: {why}",
                    module=picture.address.name,
                    why=error.sentence(),
                )
            )
        )
    sent = await carry_out(log, picture, clear_all(log.ports.protocol), why="the one planned clear", settle=step.settle)
    if isinstance(sent.error, RefusedError):
        return before, None
    try:
        after = await read_present(log, picture.address)
    except AsleftError as error:
        message = say("clear.unknown", "codes could not be read again: {why}", why=error.sentence())
        settled(log, sent.intent, Settlement.PERSON_MUST_DECIDE, message)
        return before, None
    settled(log, sent.intent, *_settlement(sent, before, after))
    return before, after


def _settlement(
    sent: Sent, before: tuple[TroubleCode, ...], after: tuple[TroubleCode, ...]
) -> tuple[Settlement, Message]:
    """A module that answered has cleared; without an answer, codes that were there and are gone show it."""
    gone = {c.full for c in before} - {c.full for c in after}
    if sent.error is None or gone:
        return Settlement.DONE, say("clear.read-again", "read again: {n} code(s) there", n=len(after))
    if before:
        return Settlement.NOT_DONE, say("clear.not", "no answer, and the codes are still there")
    return Settlement.PERSON_MUST_DECIDE, say("clear.cannot-see", "no answer, and there was no code by which to see it")
