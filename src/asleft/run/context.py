"""What the steps of one run share: the pen, the module, gate and interlocks, what was typed and read so far."""

from __future__ import annotations

from dataclasses import dataclass, field

from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Procedure, Way
from asleft.model.condition import Condition
from asleft.model.errors import Code, InputError, RunError
from asleft.model.module import ModulePicture

from .gate import Gate
from .log import RunLog, RunPorts
from .routine import RoutineRun


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
        reason: why it is done once more; empty for the first time.
        usual_s: how long this procedure took in this shop before, s; None: not known.
    """

    run: str
    loaded: LoadedProcedure
    way: Way
    module: ModulePicture
    reached: tuple[ModulePicture, ...] = ()
    gate_timeout_s: float = 1800.0
    reason: str = ""
    usual_s: float | None = None

    @property
    def procedure(self) -> Procedure:
        """The procedure itself."""
        return self.loaded.procedure


@dataclass
class RunContext:
    """Handed to the handler of every step.

    Attributes:
        log: pen and ports (``log.ports``).
        request: what is carried out.
        gate: entry conditions; opened again before every effect (``open_gate``).
        locks: interlocks.
        routine: the procedure's routine, where it has one.
        typed: what a person typed, by the step's ``save``.
    """

    log: RunLog
    request: RunRequest
    gate: Gate
    locks: Gate
    routine: RoutineRun | None = None
    typed: dict[str, str] = field(default_factory=dict[str, str])

    @property
    def ports(self) -> RunPorts:
        """What the run acts through."""
        return self.log.ports

    @property
    def module(self) -> ModulePicture:
        """The procedure's module as found."""
        return self.request.module

    @property
    def procedure(self) -> Procedure:
        """What is carried out."""
        return self.request.procedure

    def need_routine(self) -> RoutineRun:
        """The routine. Raises InputError (procedure-bad) where the procedure has none."""
        if self.routine is None:
            raise InputError(Code.PROCEDURE_BAD, "a routine step without an identifier", self.procedure.id)
        return self.routine

    async def open_gate(self) -> None:
        """Before an effect: all entry conditions hold now, and nobody said stop.

        Raises: RunError: gate-closed, stopped-by-person.
        """
        if self.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        await self.gate.open(self.request.gate_timeout_s)

    def gate_of(self, *conditions: Condition) -> Gate:
        """A gate of other conditions, for one step."""
        return Gate(self.log, conditions)
