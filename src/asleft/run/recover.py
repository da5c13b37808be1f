"""After a crash, a power cut or a pulled plug: find out what happened, by reading; nothing is sent again.

The module is given time to fall back to its default session, matched by its serial number, and asked. What cannot be
read is a question to the person, and stays one on the record.
"""

from __future__ import annotations

from asleft.book.identifier import Identifier
from asleft.book.procedure import Printed, Way
from asleft.book.shelf import Book
from asleft.event.fold import EffectState, JobState
from asleft.model.effect import Effect, Settle, Settlement
from asleft.model.errors import AsleftError
from asleft.model.message import Message, say
from asleft.model.module import ModuleState
from asleft.model.step import RoutineResult, Session

from . import wire
from .clearing import PRESENT, read_present
from .deciding import decide, other_module, undecided
from .effects import settled
from .log import RunLog, RunPorts
from .routine import SESSION_OUT_S, read_status
from .session import lasts
from .writing import find_out_write


async def settle_open_effects(ports: RunPorts, state: JobState, book: Book) -> None:
    """Settle every effect of which nobody knows whether it happened, and those that nobody was asked about yet.

    Raises: RecordError: the journal cannot be written.
    """
    await ports.clock.sleep_until(ports.clock.now() + SESSION_OUT_S)
    log = RunLog(ports, "recovery")
    for effect in (*state.unsettled, *undecided(state)):
        try:
            settlement, message = await _find_out(ports, effect, state, book)
        except AsleftError as error:
            settlement = Settlement.PERSON_MUST_DECIDE
            message = say("recover.unread", "could not be read: {why}", why=error.sentence())
        settled(log, effect.intent, settlement, message)
        if settlement is Settlement.PERSON_MUST_DECIDE:
            await decide(log, effect.intent, message)


async def _find_out(ports: RunPorts, effect: EffectState, state: JobState, book: Book) -> tuple[Settlement, Message]:
    intent = effect.intent
    other = await other_module(ports, intent)
    if other is not None:
        return Settlement.PERSON_MUST_DECIDE, other
    if intent.settle is Settle.ROUTINE_RESULT:
        return await _routine(ports, effect, state, book)
    if intent.settle is Settle.READ_BACK:
        return await find_out_write(ports, intent)
    if intent.effect is Effect.CLEARS:
        log = RunLog(ports, "recovery")
        left = await read_present(log, intent.target)
        if left:
            text = "{n} code(s) are there; whether the clear came before them cannot be seen"
            return Settlement.PERSON_MUST_DECIDE, say("recover.codes", text, n=len(left))
        return Settlement.DONE, say("recover.cleared", "no code is there (status mask {mask})", mask=f"{PRESENT:02X}")
    return Settlement.PERSON_MUST_DECIDE, say("recover.unknown", "this effect cannot be read back")


async def _routine(ports: RunPorts, effect: EffectState, state: JobState, book: Book) -> tuple[Settlement, Message]:
    run = state.runs.get(effect.intent.run)
    step, session = None, 0x03
    if run is not None:
        steps = book.procedure(run.started.procedure).procedure.ways.steps(Way(run.started.way))
        step = next((s for s in steps if isinstance(s, RoutineResult)), None)
        session = next((s.session for s in steps if isinstance(s, Session)), session)
    number = wire.started_in(bytes.fromhex(effect.intent.payload), ports.protocol)
    if step is None or number is None:
        return Settlement.PERSON_MUST_DECIDE, say("recover.no-step", "the procedure has no way to ask for its result")
    identifier = Identifier(number, f"{number:X}", Printed.HEX)
    if not lasts(session, ports.protocol):  # to look, nothing is opened that has an effect of its own
        await ports.conversation.open_session(effect.intent.target, session)
    try:
        request = wire.ask_result(identifier, ports.protocol)
        answer = await ports.conversation.ask(effect.intent.target, request)
        status = read_status(step, identifier, answer, ports.protocol)
    finally:
        await ports.conversation.close_sessions()
    if status.state is ModuleState.STORED:
        return Settlement.DONE, say("recover.stored", "the module says stored")
    if status.state is ModuleState.WAITING or status.state is ModuleState.REFUSED:
        return Settlement.NOT_DONE, say("recover.not-stored", "the module says {state}", state=status.state.value)
    return Settlement.PERSON_MUST_DECIDE, say("recover.moving", "the module says {what}", what=status.message.text)
