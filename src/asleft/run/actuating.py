"""Control of an output, given back whatever happens; the stop of a routine as a step of its own."""

from __future__ import annotations

from asleft.book.printed import any_bytes, two_bytes
from asleft.model.effect import Reaction, Settle, Settlement
from asleft.model.errors import RefusedError, RunError
from asleft.model.message import say
from asleft.model.module import ModuleState
from asleft.model.question import QuestionKind
from asleft.model.step_more import Actuate, RoutineStop

from .asking import confirm
from .context import RunContext
from .effects import carry_out, settled
from .routine import EMERGENCY
from .wire import control

#: Between two looks at the interlocks while an output is controlled, s.
EVERY_S = 0.2


async def actuate(run: RunContext, step: Actuate) -> None:
    """Ask for consent, control for ``seconds``, give control back; a broken interlock or a stop gives it back at once.

    Raises: RefusedError; RunError: gate-closed, interlock-broken, stopped-by-person. ModuleError, LinkError: unheard.
    """
    log = run.log
    identifier = two_bytes(step.identifier, step.printed)
    adjust, give_back = control(identifier, any_bytes(step.state, step.printed), run.ports.protocol)
    await run.open_gate()
    await confirm(
        log,
        say(
            "actuate.confirm", "{text} It works for {s} s, then control is given back.", text=step.text, s=step.seconds
        ),
        kind=QuestionKind.EFFECT,
        details=(f"to {run.module.address.text}", f"bytes {adjust.hex(' ').upper()}", EMERGENCY),
        yes="start",
    )
    with log.step(step.id, say("step.actuate", "{text}", text=step.text)) as end:
        sent = await carry_out(log, run.module, adjust, why=f"{step.text}: {step.id}", settle=Settle.NOT_READABLE)
        if isinstance(sent.error, RefusedError):
            log.told(run.module.address.name, ModuleState.REFUSED, say("module.refused", "refused"))
            raise sent.error
        if sent.error is None:
            settled(log, sent.intent, Settlement.DONE, say("actuate.taken", "the module took it"))
            log.told(run.module.address.name, ModuleState.MOVING, say("module.moving", "working"))
        else:
            text = "no answer: whether it moved cannot be read; look at the part"
            settled(log, sent.intent, Settlement.PERSON_MUST_DECIDE, say("actuate.unheard", text))
        try:
            if sent.error is not None:
                raise sent.error
            await _hold(run, step)
        finally:
            await _give_back(run, give_back)
        end.message = say("actuate.done", "worked for {s} s, control given back", s=step.seconds)


async def _hold(run: RunContext, step: Actuate) -> None:
    """Watch while it works; only *stop* reacts before its time."""
    clock = run.ports.clock
    until = clock.now() + step.seconds
    while clock.now() < until:
        await clock.sleep_until(min(until, clock.now() + EVERY_S))
        await run.locks.look()
        try:
            run.locks.check()
        except RunError as error:
            if step.reaction is Reaction.STOP:
                raise
            text = say("module.finishing", "goes on to its end: {why}", why=error.detail or error.cause)
            run.log.told(run.module.address.name, ModuleState.MOVING, text)


async def _give_back(run: RunContext, payload: bytes) -> None:
    """Return control; where no answer comes, the module does it itself when its session runs out."""
    sent = await carry_out(
        run.log, run.module, payload, why="control given back", settle=Settle.NOT_READABLE, stops=True
    )
    if sent.error is None:
        settled(run.log, sent.intent, Settlement.DONE, say("actuate.back", "control is the module's again"))
    elif not isinstance(sent.error, RefusedError):
        text = "no answer; the module takes control back when its session runs out (5 s): look at the part"
        settled(run.log, sent.intent, Settlement.PERSON_MUST_DECIDE, say("actuate.back-unheard", text))


async def stop_routine(run: RunContext, step: RoutineStop) -> None:
    """Stop the procedure's routine, as a step of its own. Raises: RecordError; AsleftError where nothing is known."""
    with run.log.step(step.id, say("step.routine-stop", "stop: {name}", name=run.procedure.name)):
        await run.need_routine().stop("as the procedure says")
