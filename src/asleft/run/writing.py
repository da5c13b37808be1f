"""Data identifiers read and written once, settled by reading back; a module made to start anew.

A write is never interrupted and never repeated: where no answer was heard, the session is waited out and the module
read. In UDS by services 22, 2E and 11, in KWP2000 by 21, 3B and 11.
"""

from __future__ import annotations

from asleft.book.printed import any_bytes, two_bytes
from asleft.book.scaled import encode
from asleft.codec.refusal import Protocol
from asleft.model.effect import Intent, Settle, Settlement
from asleft.model.errors import AsleftError, Code, ModuleError, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModuleAddress, ModuleState
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import to_hex
from asleft.model.step_more import Read, Restart, RestartModule, ScalingKind, Write

from . import wire
from .asking import STOP, ask, confirm
from .context import RunContext
from .deciding import other_module
from .effects import Sent, carry_out, settled
from .log import RunPorts
from .routine import EMERGENCY, SESSION_OUT_S

#: How often a write is read back at most; from key on until a module may be expected to answer, s (common practice).
LOOKS, WAKE_S = 3, 3.0
READ_AGAIN = "read it again"
_KINDS = {Restart.HARD: 1, Restart.KEY_OFF_ON: 2, Restart.SOFT: 3}


async def read_step(run: RunContext, step: Read) -> bytes:
    """Read one identifier; its bytes in hex are kept under ``step.save`` and stand in the step's outcome.

    Raises: RefusedError; ModuleError; LinkError.
    """
    identifier = _identifier(step)
    with run.log.step(step.id, say("step.read", "read: {name}", name=step.name)) as end:
        data = await read_bytes(run.ports, run.module.address, identifier)
        run.typed[step.save or step.id] = to_hex(data)
        end.message = say("read.done", "{name}: {bytes}", name=step.name, bytes=data.hex(" ").upper())
        return data


async def write_step(run: RunContext, step: Write) -> None:
    """Write what the procedure or a person gave."""
    text = step.value or run.typed.get(step.saved, "")
    value = encode(step.scaling, text) if step.scaling.kind is ScalingKind.TEXT else any_bytes(text, step.printed)
    await write_once(run, step.id, step.name, _identifier(step), value, step.restore)


async def write_once(
    run: RunContext, step: str, name: str, identifier: int, value: bytes, restore: str, lines: tuple[str, ...] = ()
) -> None:
    """Read what is there, ask for consent with the exact bytes, write once, read back.

    Args: lines: more to be seen before consent, such as each difference in words.
    Raises: RefusedError; ModuleError (coding-differs): another value is read back; the error that left it unknown.
    """
    log, target = run.log, run.module.address
    await run.open_gate()
    payload = wire.write_of(identifier, value, run.ports.protocol)
    with log.step(step, say("step.write", "write: {name}", name=name)) as end:
        before = await read_bytes(run.ports, target, identifier)
        undo = f"undo: {restore}" if restore else "cannot be undone"
        shown = (f"to {target.text}", f"now {before.hex(' ').upper()}", f"bytes {payload.hex(' ').upper()}", undo)
        text = say("write.confirm", "Write now: {name}. It is sent once.", name=name)
        await confirm(log, text, kind=QuestionKind.EFFECT, details=(*lines, *shown, EMERGENCY), yes="write")
        await run.locks.look()
        run.locks.check()
        sent = await carry_out(log, run.module, payload, why=f"{name}: {step}", settle=Settle.READ_BACK)
        await _settle(run, sent, identifier, before, value)
        end.message = say("write.done", "{name} written and read back equal", name=name)


async def _settle(run: RunContext, sent: Sent, identifier: int, before: bytes, value: bytes) -> None:
    name, clock = run.module.address.name, run.ports.clock
    if isinstance(sent.error, RefusedError):
        run.log.told(name, ModuleState.REFUSED, say("module.refused", "refused"))
        raise sent.error
    if sent.error is not None:
        await clock.sleep_until(clock.now() + SESSION_OUT_S)
    now = await _look_back(run, sent, identifier)
    settlement, message = judge_back(before, value, now)
    settled(run.log, sent.intent, settlement, message)
    if settlement is not Settlement.DONE:
        raise sent.error or ModuleError(Code.CODING_DIFFERS, now.hex(" ").upper(), name)
    run.log.told(name, ModuleState.STORED, message)


async def _look_back(run: RunContext, sent: Sent, identifier: int) -> bytes:
    """Read what is there now. Where nothing answers the person sees to key, plug and supply, and it is read again.

    Raises: AsleftError: it stays unread after all looks, stop was said, or the link is gone; then it stands as a
        question, and is read when the job goes on.
    """
    for left in range(LOOKS - 1, -1, -1):
        try:
            other = await other_module(run.ports, sent.intent) if sent.error is not None or left < LOOKS - 1 else None
            if other is not None:
                raise ModuleError(Code.CODING_DIFFERS, other.text, run.module.address.name)
            return await read_bytes(run.ports, run.module.address, identifier)
        except AsleftError as error:
            text = say("write.unread", "it could not be read back: {why}", why=error.sentence())
            if not left or error.code in (Code.CODING_DIFFERS, Code.LINK_LOST):
                settled(run.log, sent.intent, Settlement.PERSON_MUST_DECIDE, text)
                raise
            await _look_again(run, sent, text)
    raise AssertionError


async def _look_again(run: RunContext, sent: Sent, why: Message) -> None:
    words = "{why}. Nothing is sent again. Key on, plug in, supply steady; then it is read once more."
    message = say("write.look", words, why=why.text)
    question = Question(run.log.number("q"), QuestionKind.ACT, message, (READ_AGAIN, STOP), act="key-on")
    try:
        await ask(run.log, question)
    except RunError:
        settled(run.log, sent.intent, Settlement.PERSON_MUST_DECIDE, why)
        raise
    await run.ports.clock.sleep_until(run.ports.clock.now() + WAKE_S)


def judge_back(before: bytes | None, value: bytes, now: bytes) -> tuple[Settlement, Message]:
    """What reading back says of a write. ``before``: None where it is not known."""
    shown = now.hex(" ").upper()
    if now == value:
        return Settlement.DONE, say("write.back", "read back: {bytes}, as meant", bytes=shown)
    if now == before:
        return Settlement.NOT_DONE, say("write.unchanged", "read back: {bytes}, unchanged", bytes=shown)
    return Settlement.PERSON_MUST_DECIDE, say("write.other", "read back: {bytes}, neither old nor new", bytes=shown)


async def find_out_write(ports: RunPorts, intent: Intent) -> tuple[Settlement, Message]:
    """After a crash: read what a write meant to change. Nothing is sent but the read. Raises: as ``ask``."""
    written = wire.written_in(bytes.fromhex(intent.payload), ports.protocol)
    if written is None:
        return Settlement.PERSON_MUST_DECIDE, say("recover.unknown", "this effect cannot be read back")
    identifier, value = written
    return judge_back(None, value, await read_bytes(ports, intent.target, identifier))


async def restart_step(run: RunContext, step: RestartModule) -> None:
    """Have the module start anew, then wait and see that it answers. Raises: RefusedError; ModuleError; LinkError."""
    log, clock = run.log, run.ports.clock
    payload = wire.restart_of(_KINDS[step.way], run.ports.protocol)
    await run.open_gate()
    details = (f"to {run.module.address.text}", f"bytes {payload.hex(' ').upper()}", EMERGENCY)
    text = say("restart.confirm", "Restart the {module} module now.", module=run.module.address.name)
    await confirm(log, text, kind=QuestionKind.EFFECT, details=details, yes="restart")
    with log.step(step.id, say("step.restart", "restart of the module")):
        sent = await carry_out(log, run.module, payload, why=f"restart: {step.id}", settle=Settle.NOT_READABLE)
        if isinstance(sent.error, RefusedError):
            raise sent.error
        heard = sent.error is None
        told = "it took the restart" if heard else "no answer; whether it restarted cannot be read"
        settled(log, sent.intent, Settlement.DONE if heard else Settlement.PERSON_MUST_DECIDE, say("restart", told))
        if sent.error is not None:
            raise sent.error
        on_line = run.ports.protocol is Protocol.KWP2000  # after P3max (5 s, ISO 14230-2) talking begins anew
        await clock.sleep_until(clock.now() + max(step.settle_s, SESSION_OUT_S if on_line else 0.0))


async def read_bytes(ports: RunPorts, target: ModuleAddress, identifier: int) -> bytes:
    """Data of one identifier now. Raises: as ``Conversation.ask``; ModuleError (answer-malformed)."""
    answer = await ports.conversation.ask(target, wire.read_of(identifier, ports.protocol))
    return wire.data_of(answer, identifier, ports.protocol)


def _identifier(step: Read | Write) -> int:
    return two_bytes(step.identifier, step.printed)
