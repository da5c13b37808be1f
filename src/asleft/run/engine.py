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

from asleft.event import body as b
from asleft.model.condition import ConditionKind
from asleft.model.errors import AsleftError, Code, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.reading import Series
from asleft.model.verdict import RunEnd, Verdict

from .asking import confirm
from .context import RunContext, RunRequest
from .dispatch import carry_out_step, must_be_handled
from .gate import Gate
from .identifying import find_identifier
from .log import RunLog, RunPorts
from .proving import PROOF, judge_samples
from .routine import RoutineRun

__all__ = ["Run", "RunRequest"]


class Run:
    """One procedure carried out once."""

    def __init__(self, ports: RunPorts, request: RunRequest) -> None:
        self._ports = ports
        self._request = request
        self._log = RunLog(ports, request.run)
        self._routine: RoutineRun | None = None

    async def carry_out(self) -> bool:
        """Prepare, open the gate, do the steps, judge what was measured.

        Returns: whether all steps were done; if not, the run has ended and says why.
        Raises: RecordError: the journal cannot be written; CancelledError after closing what was opened.
        """
        self._begin()
        try:
            steps = self._request.procedure.ways.steps(self._request.way)
            must_be_handled(steps)
            run = await self._prepare()
            for step in steps:
                await carry_out_step(run, step)
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

    async def _prepare(self) -> RunContext:
        procedure = self._request.procedure
        if procedure.cautions:
            text = say("run.cautions", "Read before you begin: {name}", name=procedure.name)
            await confirm(self._log, text, cautions=procedure.cautions, yes="read and followed")
        if procedure.identifier is not None:
            identifier = await find_identifier(self._log, procedure, self._request.module)
            self._routine = RoutineRun(self._log, self._request.module, identifier, procedure.name)
        gate = Gate(self._log, procedure.entry)
        await gate.declare()
        with self._log.step("entry-conditions", say("step.gate", "entry conditions")) as end:
            await gate.open(self._request.gate_timeout_s)
            end.message = say("gate.open", "all entry conditions hold")
        measured = (c for c, _ in procedure.watched if c.kind is not ConditionKind.DECLARED)
        return RunContext(self._log, self._request, gate, Gate.locks(self._log, measured), self._routine)

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
