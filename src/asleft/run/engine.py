"""The run engine: the only interpreter of steps.

A run goes through declared states; every step leaves a start, or a skip with its reason, and a stop with duration and
outcome. It begins when the gate is open, sends an effect only with its receipt, and ends in one of the ways of
``RunEnd`` with everything it opened closed again::

    run = Run(ports, RunRequest("r1", loaded, Way.BY_WIRE, picture))
    if await run.carry_out():
        conclude(ports, "r1", loaded.procedure, after)      # once the clear and the key cycles are done
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import assert_never

from asleft.book.identifier import Identifier, choose, parse
from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Procedure, Way
from asleft.event import body as b
from asleft.model.condition import ConditionKind
from asleft.model.errors import AsleftError, Code, InputError, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModulePicture
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Series, to_hex
from asleft.model.step import (
    Ask,
    Clear,
    KeyCycle,
    Observe,
    RoutineResult,
    RoutineStart,
    Session,
    Step,
    Tell,
)
from asleft.model.verdict import RunEnd, Verdict

from .asking import STOP, ask, confirm
from .clearing import clear_codes
from .gate import Gate
from .log import RunLog, RunPorts
from .proving import PROOF, judge_samples
from .routine import RoutineRun
from .watching import key_cycle, observe

FROM_MANUAL = "type it from the manual"


@dataclass(frozen=True)
class RunRequest:
    """What to carry out.

    Attributes:
        run: id of the run in the job.
        loaded: procedure with its text and digest.
        way: by wire, beside, by hand.
        module: the procedure's module as found.
        reached: all modules that answered, for a clear.
        gate_timeout_s: longest wait for the entry conditions, s.
    """

    run: str
    loaded: LoadedProcedure
    way: Way
    module: ModulePicture
    reached: tuple[ModulePicture, ...] = ()
    gate_timeout_s: float = 1800.0

    @property
    def procedure(self) -> Procedure:
        """The procedure itself."""
        return self.loaded.procedure


class Run:
    """One procedure carried out once."""

    def __init__(self, ports: RunPorts, request: RunRequest) -> None:
        self._ports = ports
        self._request = request
        self._log = RunLog(ports, request.run)
        self._identifier: Identifier | None = None
        self._routine: RoutineRun | None = None
        self._locks: Gate | None = None

    async def carry_out(self) -> bool:
        """Prepare, open the gate, do the steps, judge what was measured.

        Returns: whether all steps were done; if not, the run has ended and says why.
        Raises: RecordError: the journal cannot be written; CancelledError after closing what was opened.
        """
        self._begin()
        try:
            gate = await self._prepare()
            for step in self._steps():
                await self._step(step, gate)
        except AsleftError as error:
            await self._close(error.sentence())
            self._end(_end_of(error), Verdict.CANNOT_TELL, say("run.ended", "{why}", why=error.sentence()))
            return False
        except asyncio.CancelledError:
            await asyncio.shield(self._close("interrupted from outside"))
            self._end(RunEnd.INTERRUPTED, Verdict.CANNOT_TELL, say("run.interrupted", "interrupted from outside"))
            raise
        await self._close("")
        with self._log.step(PROOF, say("step.proof", "judge what was measured")):
            for judgement in judge_samples(self._request.procedure.criteria, self._samples()):
                self._log.write(b.CriterionJudged(self._request.run, judgement))
        return True

    # -- before the first step ---------------------------------------------------------------------------------------

    def _begin(self) -> None:
        procedure, loaded = self._request.procedure, self._request.loaded
        self._log.write(
            b.RunStarted(
                self._request.run,
                procedure.function,
                procedure.id,
                procedure.name,
                self._request.way.value,
                loaded.text,
                loaded.digest,
                procedure.entry,
            )
        )

    async def _prepare(self) -> Gate:
        procedure = self._request.procedure
        if procedure.cautions:
            text = say("run.cautions", "Read before you begin: {name}", name=procedure.name)
            await confirm(self._log, text, cautions=procedure.cautions, yes="read and followed")
        if procedure.identifier is not None:
            self._identifier = await self._choose_identifier()
            self._routine = RoutineRun(self._log, self._request.module, self._identifier, procedure.name)
        gate = Gate(self._log, procedure.entry)
        await gate.declare()
        with self._log.step("entry-conditions", say("step.gate", "entry conditions")) as end:
            await gate.open(self._request.gate_timeout_s)
            end.message = say("gate.open", "all entry conditions hold")
        measured = (c for c, _ in procedure.watched if c.kind is not ConditionKind.DECLARED)
        self._locks = Gate.locks(self._log, measured)
        return gate

    async def _choose_identifier(self) -> Identifier:
        wanted = self._request.procedure.identifier
        assert wanted is not None
        module = self._request.module
        part, software = module.value("part-number"), module.value("software-number")
        try:
            choice = choose(wanted.rows, part, software, wanted.printed)
        except InputError as error:
            self._log.write(b.Noted(say("identifier.none", "{why}", why=error.sentence())))
            return await self._type_identifier()
        choices = (choice.row.row, FROM_MANUAL, STOP) if wanted.typed else (choice.row.row, STOP)
        question = Question(
            self._log.number("q"),
            QuestionKind.CHOOSE,
            say("identifier.choose", "Routine identifier for this module: {row}", row=choice.shown.text),
            choices,
            details=(choice.identifier.shown.text,),
        )
        answer = await ask(self._log, question)
        if answer.text == FROM_MANUAL:
            return await self._type_identifier()
        self._chosen(choice.identifier, "chosen by exact part and software number", choice.shown)
        return choice.identifier

    async def _type_identifier(self) -> Identifier:
        wanted = self._request.procedure.identifier
        assert wanted is not None
        if not wanted.typed:
            raise InputError(Code.NO_EXACT_MATCH, where=self._request.procedure.id)
        hint = say(
            "identifier.type",
            "Type the routine identifier as the manual prints it ({form}). {where}",
            form=wanted.printed.value,
            where=wanted.where,
        )
        while True:
            answer = await ask(self._log, Question(self._log.number("q"), QuestionKind.TYPE, hint, (STOP,)))
            try:
                identifier = parse(answer.text, wanted.printed)
            except InputError as error:
                hint = say("identifier.again", "{why} Type it again.", why=error.sentence())
                continue
            consent = await ask(
                self._log,
                Question(
                    self._log.number("q"), QuestionKind.CHOOSE, identifier.shown, ("as on the page", "type again", STOP)
                ),
            )
            if consent.text == "as on the page":
                self._chosen(identifier, f"typed from the manual by {consent.by}", identifier.shown)
                return identifier

    def _chosen(self, identifier: Identifier, how: str, row: Message) -> None:
        self._log.write(
            b.IdentifierChosen(
                self._request.run, identifier.value, how, identifier.printed, to_hex(identifier.request), row
            )
        )

    # -- steps -------------------------------------------------------------------------------------------------------

    def _steps(self) -> tuple[Step, ...]:
        return self._request.procedure.ways.steps(self._request.way)

    async def _step(self, step: Step, gate: Gate) -> None:
        locks = self._locks
        assert locks is not None
        match step:
            case Tell(step_id, text, cautions):
                with self._log.step(step_id, say("step.tell", "{text}", text=text)):
                    await confirm(self._log, say("tell", "{text}", text=text), cautions=cautions, yes="read")
            case Ask(step_id, text, choices):
                with self._log.step(step_id, say("step.ask", "{text}", text=text)) as end:
                    question = Question(
                        self._log.number("q"), QuestionKind.CHOOSE, say("ask", "{text}", text=text), (*choices, STOP)
                    )
                    end.message = say("ask.answer", "declared: {answer}", answer=(await ask(self._log, question)).text)
            case Session(step_id, session):
                with self._log.step(step_id, say("step.session", "open diagnostic session {n}", n=f"{session:02X}")):
                    await self._ports.conversation.open_session(self._request.module.address, session)
            case RoutineStart():
                await gate.open(self._request.gate_timeout_s)
                await self._need_routine().start(step, self._result_step())
            case RoutineResult():
                await self._need_routine().watch(step, locks)
            case Observe():
                await observe(self._log, step, locks)
            case KeyCycle():
                await key_cycle(self._log, step, locks)
            case Clear():
                await clear_codes(self._log, step, self._request.reached or (self._request.module,))
            case _:
                assert_never(step)

    def _need_routine(self) -> RoutineRun:
        if self._routine is None:
            raise InputError(Code.PROCEDURE_BAD, "a routine step without an identifier", self._request.procedure.id)
        return self._routine

    def _result_step(self) -> RoutineResult | None:
        return next((s for s in self._steps() if isinstance(s, RoutineResult)), None)

    # -- after the last step -----------------------------------------------------------------------------------------

    def _samples(self) -> dict[str, tuple[Series, ...]]:
        return {
            event.body.name: event.body.series
            for event in self._ports.journal.events()
            if isinstance(event.body, b.SamplesTaken) and event.body.run == self._request.run
        }

    async def _close(self, why: str) -> None:
        """Stop what still moves, return modules to their default session. Never raises for a silent module."""
        if self._routine is not None and self._routine.pending:
            await self._routine.stop(why)
        await self._ports.conversation.close_sessions()

    def _end(self, end: RunEnd, verdict: Verdict, message: Message) -> None:
        self._log.write(b.RunEnded(self._request.run, end, verdict, message))


def _end_of(error: AsleftError) -> RunEnd:
    if isinstance(error, RefusedError) or error.code is Code.GATE_CLOSED:
        return RunEnd.REFUSED
    if isinstance(error, RunError):
        return RunEnd.STOPPED
    return RunEnd.FAILED
