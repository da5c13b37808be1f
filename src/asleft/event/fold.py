"""The fold: replaying a job's events gives its state back. Pure; the same events always give the same state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, TypeVar, assert_never

from asleft.model.condition import Condition, ConditionResult
from asleft.model.control import NOBODY, Holder
from asleft.model.effect import Intent, Settlement
from asleft.model.fact import Fact
from asleft.model.message import Message
from asleft.model.module import Difference, ModulePicture, ModuleState, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.question import Answer, Question
from asleft.model.verdict import Judgement, RunEnd, StepOutcome, Verdict
from asleft.model.work import Need, Plan, ScreenedCode, Vehicle, WorkItem

from . import body as b
from .envelope import Event, type_of


@dataclass(frozen=True)
class StepState:
    """One step of a run so far."""

    id: str
    message: Message
    started_s: float
    outcome: StepOutcome | None = None
    duration_s: float = 0.0
    result: Message | None = None


@dataclass(frozen=True)
class AttemptState:
    """An attempt that a declared retest ended: what was recorded and judged, all kept."""

    samples: dict[str, b.SamplesTaken]
    judgements: tuple[Judgement, ...]
    end: RunEnd | None
    verdict: Verdict | None
    result: Message | None
    retest: b.RetestDeclared


@dataclass(frozen=True)
class RunState:
    """One run so far. ``parts`` are of recordings that have not ended.

    ``samples``, ``judgements`` and the end are of the attempt now; ``earlier`` holds those that a retest followed.
    """

    started: b.RunStarted
    started_s: float
    conditions: tuple[Condition, ...] = ()
    results: dict[str, ConditionResult] = field(default_factory=dict)
    gate: str = ""
    waived: tuple[b.ConditionWaived, ...] = ()
    identifier: b.IdentifierChosen | None = None
    steps: tuple[StepState, ...] = ()
    module_state: ModuleState | None = None
    module_message: Message | None = None
    samples: dict[str, b.SamplesTaken] = field(default_factory=dict)
    parts: dict[str, tuple[b.SamplesPart, ...]] = field(default_factory=dict)
    judgements: tuple[Judgement, ...] = ()
    progress: str = ""
    pictures: dict[str, ModulePicture] = field(default_factory=dict)
    sequences: tuple[b.SequenceTimed, ...] = ()
    marks: tuple[tuple[float, b.PersonMarked], ...] = ()
    not_watched: tuple[b.NotWatched, ...] = ()
    documents: tuple[b.DocumentAttached, ...] = ()
    causes: tuple[b.CausesNamed, ...] = ()
    end: RunEnd | None = None
    verdict: Verdict | None = None
    result: Message | None = None
    earlier: tuple[AttemptState, ...] = ()


@dataclass(frozen=True)
class EffectState:
    """One intended effect so far; ``settlement`` None means nobody knows yet."""

    intent: Intent
    answer: b.EffectAnswered | None = None
    settlement: Settlement | None = None
    message: Message | None = None


@dataclass(frozen=True)
class JobState:
    """All that is known of a job."""

    number: str = ""
    sequence: int = 0
    origin: Origin = Origin.VEHICLE
    opened: b.JobOpened | None = None
    opened_wall: str = ""
    pictures: dict[PictureKind, Picture] = field(default_factory=dict)
    extended: tuple[b.PictureExtended, ...] = ()
    screened: dict[str, tuple[ScreenedCode, ...]] = field(default_factory=dict)
    needs: tuple[Need, ...] = ()
    plan: Plan | None = None
    orders: tuple[b.OrderChosen, ...] = ()
    runs: dict[str, RunState] = field(default_factory=dict)
    questions: dict[str, tuple[Question, Answer | None]] = field(default_factory=dict)
    effects: dict[str, EffectState] = field(default_factory=dict)
    clears: tuple[b.CodesCleared, ...] = ()
    differences: dict[tuple[PictureKind, PictureKind], tuple[Difference, ...]] = field(default_factory=dict)
    open_items: dict[str, Message] = field(default_factory=dict)
    notes: tuple[Message, ...] = ()
    facts: tuple[Fact, ...] = ()
    stopped: b.JobStopped | None = None
    closed: b.JobClosed | None = None
    closed_wall: str = ""
    corrections: tuple[b.Corrected, ...] = ()
    clocks: tuple[b.ClockNoted, ...] = ()
    control: tuple[b.ControlMoved, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def vehicle(self) -> Vehicle | None:
        """The car, once the job is open."""
        return self.opened.vehicle if self.opened else None

    @property
    def work_items(self) -> tuple[WorkItem, ...]:
        """What was done to the car."""
        return self.opened.work_items if self.opened else ()

    @property
    def waiting_for(self) -> Question | None:
        """The question that is open now, if any."""
        return next((q for q, a in reversed(self.questions.values()) if a is None), None)

    @property
    def holder(self) -> Holder:
        """Who may confirm effects now; nobody until the first confirmation."""
        return Holder(self.control[-1].by, self.control[-1].device) if self.control else NOBODY

    @property
    def unsettled(self) -> tuple[EffectState, ...]:
        """Effects of which nobody knows yet whether they happened."""
        return tuple(e for e in self.effects.values() if e.settlement is None)


#: Events of one run: by far the most.
_OF_A_RUN = (
    b.RunStarted, b.IdentifierChosen, b.ConditionsSeen, b.ConditionWaived, b.StepStarted, b.StepStopped, b.ModuleTold,
    b.SamplesTaken, b.SamplesPart, b.CriterionJudged, b.RunEnded, b.ModulePictureTaken, b.SequenceTimed,
    b.PersonMarked, b.NotWatched, b.DocumentAttached, b.CausesNamed, b.RunProgress, b.RetestDeclared,
)  # fmt: skip

V = TypeVar("V")


def _with(value: V, **changes: Any) -> V:
    """A frozen value with some fields changed: ``dataclasses.replace`` takes ten times as long, most of a fold."""
    new = object.__new__(type(value))
    new.__dict__.update(value.__dict__)
    new.__dict__.update(changes)
    return new


def fold(events: Iterable[Event], state: JobState | None = None) -> JobState:
    """State after the events, beginning from ``state`` (empty when None)."""
    before = state or JobState()
    now = _with(before, counts=dict(before.counts))
    for event in events:
        _advance(now, event)
    return now


def apply(state: JobState, event: Event) -> JobState:
    """State after one more event."""
    return fold((event,), state)


def _advance(now: JobState, event: Event) -> None:
    """Take one event into a state that nobody else has seen yet."""
    kind = type_of(event.body)
    now.counts[kind] = now.counts.get(kind, 0) + 1
    now.__dict__.update(_changes(now, event), number=event.job, sequence=event.sequence, origin=event.origin)


def _changes(state: JobState, event: Event) -> dict[str, Any]:
    """Fields of the state that an event changes, besides those that every event does."""
    if isinstance(event.body, _OF_A_RUN):
        return {"runs": _runs(state.runs, event), "stopped": None}
    match event.body:
        case b.JobOpened():
            return {"opened": event.body, "opened_wall": event.wall}
        case b.PictureTaken(picture):
            return {"pictures": {**state.pictures, picture.kind: picture}}
        case b.PictureExtended():
            return {"extended": (*state.extended, event.body)}
        case b.CodesScreened(function, codes):
            return {"screened": {**state.screened, function: codes}}
        case b.NeedsFound(needs):
            return {"needs": needs}
        case b.PlanMade(plan):
            return {"plan": plan}
        case b.OrderChosen():
            return {"plan": event.body.plan, "orders": (*state.orders, event.body)}
        case b.CodesCleared():
            return {"clears": (*state.clears, event.body)}
        case b.DifferencesFound(before, after, found):
            return {"differences": {**state.differences, (before, after): found}}
        case b.ItemLeftOpen(item, message):
            return {"open_items": {**state.open_items, item: message}}
        case b.FactStated(fact):
            return {"facts": (*state.facts, fact)}
        case b.Noted(message):
            return {"notes": (*state.notes, message)}
        case b.Corrected():
            return {"corrections": (*state.corrections, event.body)}
        case b.ClockNoted():
            return {"clocks": (*state.clocks, event.body)}
        case b.ControlMoved():
            return {"control": (*state.control, event.body)}
        case b.JobStopped():
            return {"stopped": event.body}
        case b.JobClosed():
            return {"closed": event.body, "closed_wall": event.wall, "stopped": None}
        case b.QuestionAsked(_, question):
            return {"questions": {**state.questions, question.id: (question, None)}}
        case b.QuestionAnswered(_, answer):
            question = state.questions[answer.question][0]
            return {"questions": {**state.questions, answer.question: (question, answer)}}
        case b.IntentWritten() | b.EffectAnswered() | b.EffectSettled():
            return {"effects": _effects(state.effects, event.body)}
        case _:
            assert_never(event.body)


def _effects(
    effects: dict[str, EffectState], body: b.IntentWritten | b.EffectAnswered | b.EffectSettled
) -> dict[str, EffectState]:
    match body:
        case b.IntentWritten(intent):
            return {**effects, intent.id: EffectState(intent)}
        case b.EffectAnswered():
            return {**effects, body.intent: _with(effects[body.intent], answer=body)}
        case b.EffectSettled(intent_id, settlement, message):
            settled = _with(effects[intent_id], settlement=settlement, message=message)
            return {**effects, intent_id: settled}
        case _:
            assert_never(body)


def _runs(runs: dict[str, RunState], event: Event) -> dict[str, RunState]:
    body = event.body
    if isinstance(body, b.RunStarted):
        return {**runs, body.run: RunState(body, event.monotonic_s, body.conditions)}
    run = runs.get(getattr(body, "run", ""))
    return runs if run is None else {**runs, run.started.run: _run(run, event)}


def _run(run: RunState, event: Event) -> RunState:
    match event.body:
        case b.IdentifierChosen():
            return _with(run, identifier=event.body)
        case b.ConditionsSeen(_, results, gate):
            return _with(run, results={**run.results, **{r.condition: r for r in results}}, gate=gate)
        case b.ConditionWaived():
            return _with(run, waived=(*run.waived, event.body))
        case b.StepStarted(_, step, message):
            return _with(run, steps=(*run.steps, StepState(step, message, event.monotonic_s)))
        case b.StepStopped():
            return _with(run, steps=_stopped(run.steps, event.body, event.monotonic_s))
        case b.ModuleTold(_, _, module_state, message):
            return _with(run, module_state=module_state, module_message=message)
        case b.SamplesTaken():
            parts = {name: parts for name, parts in run.parts.items() if name != event.body.name}
            return _with(run, samples={**run.samples, event.body.name: event.body}, parts=parts)
        case b.SamplesPart(_, name):
            return _with(run, parts={**run.parts, name: (*run.parts.get(name, ()), event.body)})
        case b.CriterionJudged(_, judgement):
            return _with(run, judgements=(*run.judgements, judgement))
        case b.RunProgress(_, state, _):
            return _with(run, progress=state)
        case b.RetestDeclared():
            return _again(run, event.body)
        case b.ModulePictureTaken(_, _, when, picture):
            return _with(run, pictures={**run.pictures, when: picture})
        case b.SequenceTimed() | b.PersonMarked() | b.NotWatched() | b.DocumentAttached() | b.CausesNamed():
            return _evidence(run, event.body, event.monotonic_s)
        case b.RunEnded(_, end, verdict, message):
            return _with(run, end=end, verdict=verdict, result=message)
        case _:
            return run


def _again(run: RunState, retest: b.RetestDeclared) -> RunState:
    """The attempt so far is put aside whole, and the measurements begin anew."""
    ended = AttemptState(run.samples, run.judgements, run.end, run.verdict, run.result, retest)
    anew: dict[str, Any] = {"samples": {}, "parts": {}, "judgements": (), "end": None, "verdict": None, "result": None}
    return _with(run, earlier=(*run.earlier, ended), **anew)


def _evidence(
    run: RunState,
    body: b.SequenceTimed | b.PersonMarked | b.NotWatched | b.DocumentAttached | b.CausesNamed,
    now_s: float,
) -> RunState:
    """What the ways by hand and beside leave; marks keep their time."""
    match body:
        case b.SequenceTimed():
            return _with(run, sequences=(*run.sequences, body))
        case b.PersonMarked():
            return _with(run, marks=(*run.marks, (now_s, body)))
        case b.NotWatched():
            return _with(run, not_watched=(*run.not_watched, body))
        case b.DocumentAttached():
            return _with(run, documents=(*run.documents, body))
        case b.CausesNamed():
            return _with(run, causes=(*run.causes, body))
        case _:
            assert_never(body)


def _stopped(steps: tuple[StepState, ...], body: b.StepStopped, now_s: float) -> tuple[StepState, ...]:
    done = {"outcome": body.outcome, "duration_s": body.duration_s, "result": body.message}
    if steps and steps[-1].id == body.step and steps[-1].outcome is None:
        return (*steps[:-1], _with(steps[-1], **done))
    return (*steps, _with(StepState(body.step, body.message, now_s), **done))
