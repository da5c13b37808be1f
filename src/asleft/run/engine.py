"""The run engine: the only interpreter of steps.

A run goes through the declared states of ``states``; every step leaves a start, or a skip with its reason, and a stop
with duration and outcome. It begins when the gate is open, sends an effect only with its receipt, and ends in one of
the ways of ``RunEnd`` with everything it opened closed again::

    run = Run(ports, RunRequest("r1", loaded, Way.BY_WIRE, picture))
    if await run.carry_out():
        conclude(ports, "r1", loaded.procedure, after)      # once the clear and the key cycles are done
"""

from __future__ import annotations

import asyncio

from asleft.book.functions import hard_stop
from asleft.event import body as b
from asleft.model.condition import ConditionKind
from asleft.model.errors import AsleftError, Code, InputError, RecordError
from asleft.model.message import Message, say
from asleft.model.reading import Series
from asleft.model.step import RoutineResult, RoutineStart
from asleft.model.step_more import AnyStep, RoutineStop, any_effect_of
from asleft.model.verdict import Judgement, RunEnd, Verdict
from asleft.ports.pause import MayPause
from asleft.proof.attempts import settled

from .asking import STOP, ask_choice, confirm
from .causes import end_of, name_causes
from .context import RunContext, RunRequest
from .deciding import put_to_person
from .dispatch import carry_out_step, must_be_handled
from .gate import Gate
from .identifying import find_identifier
from .log import RunLog, RunPorts
from .proving import PROOF, judge_samples
from .remaining import progress
from .retesting import declared, steps_again
from .routine import RoutineRun
from .states import State, Turn

__all__ = ["Run", "RunRequest"]


class Run:
    """One procedure carried out once."""

    def __init__(self, ports: RunPorts, request: RunRequest) -> None:
        self._ports = ports
        self._request = request
        self._log = RunLog(ports, request.run)
        self._log.reason = request.reason
        self._routine: RoutineRun | None = None
        self._begun: list[str] = []
        self._attempt_from = 0

    async def carry_out(self) -> bool:
        """Prepare, open the gate, do the steps, judge what was measured.

        Returns: whether all steps were done; if not, the run has ended and says why.
        Raises: RecordError: the journal cannot be written; CancelledError after closing what was opened.
        """
        self._begin()
        steps = self._request.procedure.ways.steps(self._request.way)
        try:
            must_be_handled(steps)
            self._no_hard_stop(steps)
            await self._prove(await self._prepare(steps), steps)
        except AsleftError as error:
            if self._log.machine.state is State.PROVING:
                raise  # nothing is open any more; what was measured stands
            await self._cut(steps, error.sentence())
            if error.code not in (Code.LINK_LOST, Code.STOPPED_BY_PERSON):  # then it is read when the job goes on
                await put_to_person(self._log)
            name_causes(self._log, self._request.procedure, error)
            self._end(end_of(error), Verdict.CANNOT_TELL, say("run.ended", "{why}", why=error.sentence()))
            return False
        except asyncio.CancelledError:
            if self._log.machine.state is State.PROVING:
                raise
            await asyncio.shield(self._cut(steps, "interrupted from outside"))
            self._end(RunEnd.INTERRUPTED, Verdict.CANNOT_TELL, say("run.interrupted", "interrupted from outside"))
            raise
        self._log.turn(Turn.JUDGED)
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
        self._log.turn(Turn.BEGIN)

    def _no_hard_stop(self, steps: tuple[AnyStep, ...]) -> None:
        """Restraints, high voltage, security, odometer: read and verify only, whatever a file says."""
        stop = hard_stop(self._request.procedure.function, self._request.module.address.name)
        stop = stop or hard_stop(self._request.procedure.function, self._request.procedure.module)
        if stop is not None and any(any_effect_of(step).needs_receipt for step in steps):
            raise InputError(Code.HARD_STOP, stop.value, self._request.procedure.id)

    async def _prepare(self, steps: tuple[AnyStep, ...]) -> RunContext:
        procedure = self._request.procedure
        if procedure.cautions:
            text = say("run.cautions", "Read before you begin: {name}", name=procedure.name)
            await confirm(self._log, text, cautions=procedure.cautions, yes="read and followed")
        if any(isinstance(step, RoutineStart | RoutineResult | RoutineStop) for step in steps):
            identifier = await find_identifier(self._log, procedure, self._request.module)
            self._routine = RoutineRun(self._log, self._request.module, identifier, procedure.name)
        gate = Gate(self._log, procedure.entry, self._waivable())
        await gate.declare()
        self._log.turn(Turn.PREPARED)
        await self._open(gate)
        measured = (c for c, _ in procedure.watched if c.kind is not ConditionKind.DECLARED)
        locks = Gate.locks(self._log, measured)
        locks.waived = gate.waived
        return RunContext(self._log, self._request, gate, locks, self._routine)

    def _waivable(self) -> frozenset[str]:
        """Conditions that a person may let be: risk 2 and below, and no hard-stop function. Source: TRADE 2.12."""
        procedure = self._request.procedure
        if procedure.risk > 2 or hard_stop(procedure.function, procedure.module) is not None:
            return frozenset()
        return frozenset(c.id for c in procedure.entry if c.waivable)

    async def _open(self, gate: Gate) -> None:
        with self._log.step("entry-conditions", say("step.gate", "entry conditions")) as end:
            await gate.open(self._request.gate_timeout_s)
            waived = ", ".join(sorted(gate.waived))
            text = "all entry conditions hold" + (", without: {waived}" if waived else "")
            end.message = say("gate.open", text, waived=waived)
        self._log.turn(Turn.OPEN)

    # -- the steps ---------------------------------------------------------------------------------------------------

    async def _work(self, run: RunContext, steps: tuple[AnyStep, ...]) -> None:
        for number, step in enumerate(steps, 1):
            await self._maybe_pause(run, step)
            self._show(steps, number)
            self._begun.append(step.id)
            await carry_out_step(run, step)

    async def _closed(self) -> None:
        self._log.turn(Turn.DONE)
        await self._close("")
        self._log.turn(Turn.CLOSED)

    # -- what was measured -------------------------------------------------------------------------------------------

    async def _prove(self, run: RunContext, steps: tuple[AnyStep, ...]) -> None:
        """Do the steps, judge, and measure once more where a person declares it."""
        await self._look("before")
        await self._work(run, steps)
        await self._look("after")
        await self._closed()
        first = self._judge(steps)
        again = steps_again(steps)
        retest = await declared(self._log, first, 1) if again else None
        if retest is None:
            return
        self._log.write(retest)
        self._log.turn(Turn.RETEST)
        self._attempt_from = len(self._ports.journal.events())
        await self._open(run.gate)
        await self._work(run, again)
        await self._closed()
        self._judge(again, first, retest.changed)

    def _judge(
        self, steps: tuple[AnyStep, ...], first: tuple[Judgement, ...] = (), changed: str = ""
    ) -> tuple[Judgement, ...]:
        """Judge what was recorded; after a retest what counts of both attempts."""
        with self._log.step(PROOF, say("step.proof", "judge what was measured")):
            judged = judge_samples(self._request.procedure.criteria, self._samples(), steps)
            judged = settled(first, judged, changed=changed) if first else judged
            for judgement in judged:
                self._log.write(b.CriterionJudged(self._request.run, judgement))
        return judged

    async def _look(self, when: str) -> None:
        """The module's own picture before and after, where the procedure means to change something."""
        procedure = self._request.procedure
        if self._ports.look is None or not procedure.changes:
            return
        picture = await self._ports.look(self._request.module.address)
        self._log.write(b.ModulePictureTaken(self._request.run, f"picture-{when}", when, picture))

    async def _maybe_pause(self, run: RunContext, step: AnyStep) -> None:
        """Between two steps only, and never while the module works: then the conditions are measured again."""
        person = self._ports.person
        if not (isinstance(person, MayPause) and person.wants_pause):
            return
        if self._routine is not None and self._routine.pending:
            return
        self._log.turn(Turn.PAUSE)
        person.paused()
        await self._ports.conversation.close_sessions()
        text = "Paused before: {step}. The entry conditions are measured again when it goes on."
        await ask_choice(self._log, say("run.paused", text, step=step.id), ("go on", STOP))
        self._log.turn(Turn.GO_ON)
        await self._open(run.gate)

    def _show(self, steps: tuple[AnyStep, ...], number: int) -> None:
        stands = progress(steps, number, 0.0, usual_s=self._request.usual_s)
        self._ports.show("progress", {"run": self._request.run, "progress": stands})

    # -- after the last step -----------------------------------------------------------------------------------------

    def _samples(self) -> dict[str, tuple[Series, ...]]:
        return {
            event.body.name: event.body.series
            for event in self._ports.journal.events()[self._attempt_from :]
            if isinstance(event.body, b.SamplesTaken) and event.body.run == self._request.run
        }

    async def _cut(self, steps: tuple[AnyStep, ...], why: str) -> None:
        """End early: close what was opened, and say of every step that was not begun that it was not."""
        if self._log.machine.state is not State.CUTTING:
            self._log.turn(Turn.CUT)
        await self._close(why)
        for step in steps:
            if step.id not in self._begun:
                self._log.skip(step.id, say("step.skipped", "not begun: {why}", why=why))
        self._log.turn(Turn.CLOSED)

    async def _close(self, why: str) -> None:
        """Stop what still moves, return modules to their default session. Never raises for a module or a link.

        Raises: RecordError: the journal cannot be written; then nothing more is sent.
        """
        try:
            if self._routine is not None and self._routine.pending:
                await self._routine.stop(why)
        except RecordError:
            raise
        except AsleftError as error:
            self._log.write(b.Noted(say("run.not-stopped", "the stop did not go out: {why}", why=error.sentence())))
        finally:
            await self._ports.conversation.close_sessions()

    def _end(self, end: RunEnd, verdict: Verdict, message: Message) -> None:
        self._log.write(b.RunEnded(self._request.run, end, verdict, message))
