"""Routines by wire: start once, watch, settle by what the module says afterwards; stop when asked to."""

from __future__ import annotations

from dataclasses import dataclass

from asleft.book.identifier import Identifier, parse
from asleft.book.procedure import Printed
from asleft.codec.refusal import Protocol
from asleft.model.effect import Reaction, Settle, Settlement
from asleft.model.errors import AsleftError, Code, ModuleError, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModulePicture, ModuleState
from asleft.model.question import QuestionKind
from asleft.model.step import RoutineResult, RoutineStart, RoutineStatus

from . import wire
from .asking import confirm
from .effects import Sent, carry_out, settled
from .gate import Gate
from .log import RunLog

#: A module falls back to its default session after this, s. Source: ISO 14229-2, S3server 5 s (recalled); with margin.
SESSION_OUT_S = 5.5
#: KWP2000: asked for the result of a routine that still runs. Source: ISO 14230-3, response codes (recalled).
NOT_COMPLETE = 0x23
#: Stands beside every consent to an effect.
EMERGENCY = "The stop on the screen is no safety switch: the brake and the key are."


@dataclass(frozen=True)
class Status:
    """What a result record says."""

    state: ModuleState | None
    refusal: int
    message: Message


def read_status(
    step: RoutineResult, identifier: Identifier, answer: bytes, protocol: Protocol = Protocol.UDS
) -> Status:
    """Meaning of a routine's result answer. Raises ModuleError (answer-malformed) when it is too short."""
    record = wire.result_of(answer, identifier, protocol)
    if len(record) <= max(step.state_at, step.refusal_at or 0):
        raise ModuleError(Code.ANSWER_MALFORMED, answer.hex(" ").upper(), step.id)
    value = record[step.state_at]
    refusal = 0 if step.refusal_at is None else record[step.refusal_at]
    row = next((s for s in step.states if s.value == value), None)
    if row is None:
        return Status(
            None,
            refusal,
            say("module.not-understood", "state byte {value} is not in the procedure", value=f"{value:02X}"),
        )
    return Status(row.state, refusal, _words(row, refusal))


def _words(row: RoutineStatus, refusal: int) -> Message:
    if row.state is ModuleState.REFUSED and refusal:
        return say("module.refused", "refused with {code} {text}", code=f"{refusal:02X}", text=row.text)
    return say(f"module.{row.state.value}", "{text}", text=row.text or row.state.value)


class RoutineRun:
    """One start of one routine of one module."""

    def __init__(self, log: RunLog, picture: ModulePicture, identifier: Identifier, name: str) -> None:
        self._log = log
        self._picture = picture
        self._own = self._identifier = identifier
        self._name = name
        self._sent: Sent | None = None

    @property
    def pending(self) -> bool:
        """Whether it was started and nobody knows yet how it ended."""
        return self._sent is not None

    def use(self, printed: str) -> None:
        """Go on with another routine of the page, or with the one typed or chosen; never while one is pending."""
        wanted = parse(printed, Printed.HEX) if printed else self._own
        if self.pending and wanted.value != self._identifier.value:
            raise RunError(Code.INTERLOCK_BROKEN, "another routine of this run has not ended", self._name)
        self._identifier = wanted

    async def start(self, step: RoutineStart, result: RoutineResult | None) -> None:
        """Ask for consent with the bytes in sight, then start once.

        Raises: RefusedError; ModuleError or LinkError when no answer was heard (then settled by reading back).
        """
        payload = wire.start_routine(self._identifier, self._log.ports.protocol)
        await confirm(
            self._log,
            say("effect.confirm", "Start now: {name}. It changes the module; it is sent once.", name=self._name),
            kind=QuestionKind.EFFECT,
            details=(f"to {self._picture.address.text}", f"bytes {payload.hex(' ').upper()}", EMERGENCY),
            yes="start",
        )
        with self._log.step(step.id, say("step.routine-start", "start: {name}", name=self._name)):
            why = f"{self._name}: {step.id}"
            sent = await carry_out(self._log, self._picture, payload, why=why, settle=Settle.ROUTINE_RESULT)
            if sent.error is None:
                self._sent = sent
                self._log.told(self._module, ModuleState.MOVING, say("module.moving", "working"))
                if step.settle is Settle.NOT_READABLE:
                    text = "it took the start; its end shows at the car only, a person says what, the proof decides"
                    self._settle(Settlement.DONE, say("effect.taken", text))
                return
            if isinstance(sent.error, RefusedError):
                text = say("module.refused", "refused with {code}", code=f"{sent.error.refusal:02X}")
                self._log.told(self._module, ModuleState.REFUSED, text)
            else:
                self._sent = sent
                await self._settle_unheard(result)
            raise sent.error

    async def watch(self, step: RoutineResult, locks: Gate) -> None:
        """Ask for the result until it is stored; interlocks and the person's stop react as the step says.

        Raises: RefusedError; RunError: interlock-broken, stopped-by-person; ModuleError: module-silent (too late).
        """
        clock = self._log.ports.clock
        with self._log.step(step.id, say("step.routine-result", "waiting for: {name}", name=self._name)) as end:
            until, seen = clock.now() + step.timeout_s, None
            while clock.now() < until:
                await clock.sleep_until(clock.now() + step.every_s)
                await self._react(step, locks)
                status = await self._ask(step)
                if status.message != seen and status.state is not None:
                    self._log.told(self._module, status.state, status.message)
                seen = status.message
                if self._finished(status):
                    end.message = say("step.stored", "the module says stored; the proof decides")
                    return
            await self.stop("it did not finish in time")
            raise ModuleError(Code.MODULE_SILENT, f"not finished after {step.timeout_s:g} s", step.id)

    async def stop(self, why: str) -> None:
        """Send the stop of the routine, itself an effect with intent and receipt; a refusal is only written down."""
        payload = wire.stop_routine(self._identifier, self._log.ports.protocol)
        sent = await carry_out(self._log, self._picture, payload, why=why, settle=Settle.ROUTINE_RESULT, stops=True)
        if sent.error is None:
            settled(
                self._log, sent.intent, Settlement.DONE, say("effect.stopped", "the module stopped: {why}", why=why)
            )
        elif not isinstance(sent.error, RefusedError):
            settled(
                self._log,
                sent.intent,
                Settlement.PERSON_MUST_DECIDE,
                say("effect.stop-unheard", "no answer to the stop; look at the car, key off if it still moves"),
            )
        self._settle(Settlement.NOT_DONE, say("effect.cut", "stopped before it was stored: {why}", why=why))

    async def _react(self, step: RoutineResult, locks: Gate) -> None:
        await locks.look()
        try:
            locks.check()
        except RunError as error:
            if step.reaction is not Reaction.STOP:
                self._log.told(
                    self._module,
                    ModuleState.MOVING,
                    say("module.finishing", "goes on to its end: {why}", why=error.detail or error.cause),
                )
                return
            await self.stop(error.sentence())
            raise

    async def _ask(self, step: RoutineResult) -> Status:
        protocol = self._log.ports.protocol
        request = wire.ask_result(self._identifier, protocol)
        try:
            answer = await self._log.ports.conversation.ask(self._picture.address, request)
        except RefusedError as error:
            if protocol is Protocol.KWP2000 and error.refusal == NOT_COMPLETE:
                return Status(ModuleState.MOVING, 0, say("module.moving", "working"))
            raise
        return read_status(step, self._identifier, answer, protocol)

    def _finished(self, status: Status) -> bool:
        if status.state is ModuleState.STORED:
            self._settle(Settlement.DONE, say("effect.stored", "the module says stored"))
            return True
        if status.state is ModuleState.REFUSED:
            self._settle(Settlement.NOT_DONE, status.message)
            raise RefusedError(status.refusal, status.message.values.get("text", status.message.text), self._name)
        return False

    async def _settle_unheard(self, result: RoutineResult | None) -> None:
        """No answer to the start: wait out the session, match the module, read; never send again."""
        clock = self._log.ports.clock
        await clock.sleep_until(clock.now() + SESSION_OUT_S)
        try:
            status = await self._ask(result) if result else None
        except AsleftError:
            status = None
        if status is not None and status.state is ModuleState.STORED:
            self._settle(
                Settlement.DONE, say("effect.stored-unheard", "its start was not heard, yet the module says stored")
            )
        elif status is not None and status.state is ModuleState.WAITING:
            self._settle(Settlement.NOT_DONE, say("effect.not-begun", "the module says it has not begun"))
        else:
            self._settle(
                Settlement.PERSON_MUST_DECIDE,
                say(
                    "effect.unknown",
                    "no answer to the start, and the module does not say whether it ran: read its value, decide",
                ),
            )

    def _settle(self, settlement: Settlement, message: Message) -> None:
        if self._sent is not None:
            settled(self._log, self._sent.intent, settlement, message)
            self._sent = None

    @property
    def _module(self) -> str:
        return self._picture.address.name
