"""The run's own pen: steps, module states and samples as events. If it cannot write, the run stops."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Generator
from contextlib import AbstractAsyncContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import Any

from asleft.codec.refusal import Protocol
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import AsleftError, Code, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModuleAddress, ModulePicture, ModuleState
from asleft.model.reading import Series
from asleft.model.verdict import StepOutcome
from asleft.ports.access import AccessKey
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation
from asleft.ports.journal import Journal
from asleft.ports.person import Person
from asleft.ports.signals import Signals

from .states import RunMachine, Turn

Show = Callable[[str, Any], None]


def _nothing(_key: str, _value: Any) -> None:
    """Show nothing."""


#: Takes a picture of one module: what it says of itself now.
Look = Callable[[ModuleAddress], Awaitable[ModulePicture]]


@dataclass(frozen=True)
class RunPorts:
    """What a run acts through.

    Attributes:
        show: live values for screens; it may be lossy.
        look: takes a picture of one module; None: none is taken.
        quiet: nothing of ours goes out while it is held, for the other tester's turn.
        key: the workshop's own authorised way to access keys; None: there is none.
        protocol: language of the modules.
    """

    journal: Journal
    conversation: Conversation
    signals: Signals
    person: Person
    clock: Clock
    show: Show = field(default=_nothing)
    look: Look | None = None
    quiet: Callable[[], AbstractAsyncContextManager[None]] = nullcontext
    key: AccessKey | None = None
    protocol: Protocol = Protocol.UDS


@dataclass
class StepLog:
    """How the step in hand ends, unless it raises."""

    outcome: StepOutcome = StepOutcome.DONE
    message: Message = field(default_factory=lambda: say("step.done", "done"))


class RunLog:
    """Events of one run.

    Attributes:
        machine: state of the run. reason: why what was sent before goes again; empty: not asked for yet.
    """

    def __init__(self, ports: RunPorts, run: str) -> None:
        self.ports = ports
        self.run = run
        self.machine = RunMachine()
        self.reason = ""
        self._numbers = _taken(ports, run)

    def turn(self, turn: Turn) -> None:
        """The run changes its state: written down and shown."""
        state = self.machine.go(turn)
        self.write(b.RunProgress(self.run, state.value, turn.value))
        self.ports.show("run", {"run": self.run, "state": state.value})

    def write(self, body: b.Body, actor: str = "") -> Event:
        """Append one event."""
        return self.ports.journal.append(body, actor=actor)

    def number(self, kind: str) -> str:
        """Next id of a kind within this run: ``run.kind1``."""
        self._numbers[kind] = self._numbers.get(kind, 0) + 1
        return f"{self.run}.{kind}{self._numbers[kind]}"

    def told(self, module: str, state: ModuleState, message: Message) -> None:
        """What the module does, in our words."""
        self.write(b.ModuleTold(self.run, module, state, message))

    def samples(self, name: str, series: tuple[Series, ...]) -> None:
        """Keep raw readings."""
        self.write(b.SamplesTaken(self.run, name, series))

    def skip(self, step: str, message: Message) -> None:
        """A step that was not begun, with its reason."""
        self.write(b.StepStopped(self.run, step, StepOutcome.SKIPPED, 0.0, message))

    @contextmanager
    def step(self, step: str, message: Message) -> Generator[StepLog]:
        """One step: start, and whatever happens inside, a stop with duration and outcome."""
        self.write(b.StepStarted(self.run, step, message))
        started = self.ports.clock.now()
        log = StepLog()
        try:
            yield log
        except BaseException as error:
            log.outcome, log.message = _outcome(error)
            raise
        finally:
            duration = self.ports.clock.now() - started
            self.write(b.StepStopped(self.run, step, log.outcome, round(duration, 3), log.message))


def _taken(ports: RunPorts, run: str) -> dict[str, int]:
    """How many questions and intents of this run the record holds already: a job that goes on counts on."""
    numbers = {"q": 0, "i": 0}
    for event in ports.journal.events():
        if isinstance(event.body, b.QuestionAsked) and event.body.question.id.startswith(f"{run}.q"):
            numbers["q"] += 1
        elif isinstance(event.body, b.IntentWritten) and event.body.intent.id.startswith(f"{run}.i"):
            numbers["i"] += 1
    return numbers


def _outcome(error: BaseException) -> tuple[StepOutcome, Message]:
    if isinstance(error, RefusedError):
        return StepOutcome.REFUSED, say("step.refused", "{why}", why=error.sentence())
    if isinstance(error, RunError) and error.code in (Code.STOPPED_BY_PERSON, Code.INTERLOCK_BROKEN):
        return StepOutcome.STOPPED, say("step.stopped", "{why}", why=error.sentence())
    if isinstance(error, AsleftError):
        return StepOutcome.FAILED, say("step.failed", "{why}", why=error.sentence())
    if isinstance(error, Exception):
        return StepOutcome.FAILED, say("step.fault", "a fault of the program: {why}", why=repr(error))
    return StepOutcome.STOPPED, say("step.interrupted", "interrupted from outside")
