"""The run's own pen: steps, module states and samples as events. If it cannot write, the run stops."""

from __future__ import annotations

from collections.abc import Callable, Generator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import AsleftError, Code, RefusedError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModuleState
from asleft.model.reading import Series
from asleft.model.verdict import StepOutcome
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation
from asleft.ports.journal import Journal
from asleft.ports.person import Person
from asleft.ports.signals import Signals

Show = Callable[[str, Any], None]


def _nothing(_key: str, _value: Any) -> None:
    """Show nothing."""


@dataclass(frozen=True)
class RunPorts:
    """What a run acts through. ``show`` gives live values to screens; it may be lossy."""

    journal: Journal
    conversation: Conversation
    signals: Signals
    person: Person
    clock: Clock
    show: Show = field(default=_nothing)


@dataclass
class StepLog:
    """How the step in hand ends, unless it raises."""

    outcome: StepOutcome = StepOutcome.DONE
    message: Message = field(default_factory=lambda: say("step.done", "done"))


class RunLog:
    """Events of one run."""

    def __init__(self, ports: RunPorts, run: str) -> None:
        self.ports = ports
        self.run = run
        self._numbers = _taken(ports, run)

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
