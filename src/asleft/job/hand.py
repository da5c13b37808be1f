"""A job in hand: what its stages share, and where it stands as its events say."""

from __future__ import annotations

from asleft.book.loader import LoadedProcedure
from asleft.event import body as b
from asleft.event.fold import JobState, RunState, fold
from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.module import ModuleAddress, ModulePicture, PictureKind
from asleft.model.work import PlanStep
from asleft.ports.journal import Journal
from asleft.ports.signals import Signals
from asleft.run.log import RunLog, RunPorts
from asleft.run.proving import PROOF
from asleft.talk.pictures import AsksEverybody, take_module_picture

from .desk import Desk


class JobHand:
    """What a job is worked with.

    Attributes:
        desk: link, book, workshop. journal: its record. conversation, signals: on the desk's link.
        ports: what its runs act through. log: the job's own pen.
    """

    def __init__(self, desk: Desk, journal: Journal, conversation: AsksEverybody, signals: Signals) -> None:
        self.desk = desk
        self.journal = journal
        self.conversation = conversation
        self.signals = signals
        self.ports = ports_of(desk, journal, conversation, signals)
        self.log = RunLog(self.ports, "job")
        self._state = JobState()

    @property
    def state(self) -> JobState:
        """The job as its events say."""
        new = [e for e in self.journal.events() if e.sequence > self._state.sequence]
        self._state = fold(new, self._state)
        return self._state

    def runs_of(self, function: str) -> tuple[RunState, ...]:
        """Runs of a function, oldest first."""
        return tuple(r for r in self.state.runs.values() if r.started.function == function)

    def leave_open(self, item: str, message: Message) -> None:
        """Write down, once, what stays to be done."""
        if item not in self.state.open_items:
            self.journal.append(b.ItemLeftOpen(item, message))

    def loaded(self, step: PlanStep) -> LoadedProcedure:
        """The procedure that a step of the plan stands for. Raises InputError (procedure-missing)."""
        return self.desk.book.procedure(step.procedure)

    def module_named(self, name: str) -> ModulePicture:
        """A module as found. Raises InputError (module-silent): it did not answer then."""
        module = self.state.pictures[PictureKind.AS_FOUND].module(name)
        if module is None or not module.responded:
            raise InputError(Code.MODULE_SILENT, f"{name} did not answer when the picture as found was taken")
        return module

    def reached(self) -> tuple[ModulePicture, ...]:
        """All modules that answered when the picture as found was taken."""
        return tuple(m for m in self.state.pictures[PictureKind.AS_FOUND].modules if m.responded)


def ports_of(desk: Desk, journal: Journal, conversation: AsksEverybody, signals: Signals) -> RunPorts:
    """What the runs of a job act through."""

    async def look(address: ModuleAddress) -> ModulePicture:
        return await take_module_picture(address, desk.modules, conversation)

    return RunPorts(
        journal,
        conversation,
        signals,
        desk.person,
        desk.clock,
        desk.show,
        look,
        conversation.quiet,
        desk.key,
        conversation.protocol,
    )


def awaits_conclusion(run: RunState) -> bool:
    """Whether a run's steps are done and judged, and only the end of the job decides the rest."""
    return run.end is None and any(s.id == PROOF and s.outcome is not None for s in run.steps)
