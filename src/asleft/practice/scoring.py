"""The sheet: a pure function of a job's events and of the truth. Points need events that show the process.

Weights are ours, after a suggestion (common practice, no source): pictures 20, screening 10, order 10, conditions 15,
execution 15, judgement 15, record 10, time 5; the safety gate passes or fails the whole.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import JobState, RunState, fold
from asleft.model.condition import ConditionState
from asleft.model.effect import Settlement
from asleft.model.module import PictureKind
from asleft.model.verdict import RunEnd, StepOutcome, Verdict

from .exercise import Exercise, Goal, Honest, Item

#: Points of each item; they make 100.
WEIGHTS = {
    Item.PICTURES: 20.0,
    Item.SCREENING: 10.0,
    Item.ORDER: 10.0,
    Item.CONDITIONS: 15.0,
    Item.EXECUTION: 15.0,
    Item.JUDGEMENT: 15.0,
    Item.RECORD: 10.0,
    Item.TIME: 5.0,
}
#: Points that are enough; ours.
ENOUGH = 80.0
#: Below this the battery is not supported while something is sent, V (common practice, no source).
SUPPORT_V = 12.5


class Grading(msgspec.Struct, frozen=True):
    """The truth, for the sheet and the debrief only.

    Attributes: seed: of the variant. hidden: fault -> size. readings: instrument ``act.pick`` -> value at the end.
    """

    exercise: str
    seed: int
    level: str = "exam"
    hidden: dict[str, float] = {}
    readings: dict[str, float] = {}


class Line(msgspec.Struct, frozen=True):
    """One item: points of how many, and why some are missing."""

    item: Item
    points: float
    of: float
    why: tuple[str, ...] = ()


class Sheet(msgspec.Struct, frozen=True):
    """The whole sheet. ``unsafe``: why the safety gate is closed; empty: it is open."""

    exercise: str
    lines: tuple[Line, ...]
    total: float
    unsafe: tuple[str, ...]
    passed: bool

    def points(self, item: Item) -> float:
        """Points of one item."""
        return next(line.points for line in self.lines if line.item is item)


#: Answers that claim no change.
_NOTHING = ("nothing", "nothing was changed", "-")
_Part = tuple[float, bool, str]


def score(exercise: Exercise, events: Sequence[Event], truth: Grading) -> Sheet:
    """The sheet of a job; not passed with the safety gate closed, a wrong judgement, or too few points."""
    state = fold(events)
    every = [r for r in state.runs.values() if r.started.function == exercise.function]
    runs = [r for r in every if not _rightly_refused(exercise, state, r)]
    run = every[-1] if every else None
    if exercise.must_refuse and len(runs) == len(every):
        runs = []  # what should have been seen was not
    parts: dict[Item, tuple[_Part, ...]] = {
        Item.PICTURES: _pictures(events, state),
        Item.SCREENING: _screening(exercise, events),
        Item.ORDER: _order(exercise, events),
        Item.CONDITIONS: _conditions(exercise, state, runs),
        Item.EXECUTION: _execution(exercise, state, runs),
        Item.JUDGEMENT: _judgement(exercise, state, runs),
        Item.RECORD: _record(exercise, state, run),
        Item.TIME: _time(exercise, events, state, run),
    }
    lines = tuple(
        Line(item, sum(p for p, got, _ in given if got), WEIGHTS[item], tuple(w for _, got, w in given if not got))
        for item, given in parts.items()
    )
    unsafe = (*_unsafe(events), *_dishonest(exercise, state, truth))
    total = sum(line.points for line in lines)
    sheet = Sheet(exercise.id, lines, total, unsafe, passed=False)
    passed = not unsafe and total >= ENOUGH and sheet.points(Item.JUDGEMENT) > 0.0
    return msgspec.structs.replace(sheet, passed=passed)


def _rightly_refused(exercise: Exercise, state: JobState, run: RunState) -> bool:
    """Whether the gate stayed closed for just the conditions that the exercise is about, and nothing was sent."""
    unmet = {k for k, v in run.results.items() if v.state is not ConditionState.MET}
    sent = any(e.intent.run == run.started.run for e in state.effects.values())
    return run.end is RunEnd.REFUSED and not sent and bool(unmet) and unmet == set(exercise.must_refuse)


def _pictures(events: Sequence[Event], state: JobState) -> tuple[_Part, ...]:
    taken = {kind for kind, picture in state.pictures.items() if not picture.not_taken and picture.modules}
    begun = _first(events, b.RunStarted)
    found = next(
        (
            e.sequence
            for e in events
            if isinstance(e.body, b.PictureTaken) and e.body.picture.kind is PictureKind.AS_FOUND
        ),
        None,
    )
    return (
        (10.0, PictureKind.AS_RECEIVED in taken, "no picture as received, before the work"),
        (
            5.0,
            PictureKind.AS_FOUND in taken and found is not None and (begun is None or found < begun),
            "no picture as found before the first procedure",
        ),
        (5.0, PictureKind.AS_LEFT in taken, "no picture as left"),
    )


def _screening(exercise: Exercise, events: Sequence[Event]) -> tuple[_Part, ...]:
    begun = next((e.sequence for e in events if _starts(e, exercise.function)), None)
    sorted_at = [
        e.sequence for e in events if isinstance(e.body, b.CodesScreened) and e.body.function == exercise.function
    ]
    fine = begun is not None and any(at < begun for at in sorted_at)
    return ((10.0, fine, "codes were not sorted before the procedure began"),)


def _order(exercise: Exercise, events: Sequence[Event]) -> tuple[_Part, ...]:
    plan = next((e.body.plan for e in events if isinstance(e.body, b.PlanMade)), None)
    places = [step.function for step in plan.steps] if plan else []
    started = [e.body.function for e in events if isinstance(e.body, b.RunStarted)]
    known = [places.index(f) for f in started if f in places]
    ran = exercise.function in started
    clears = [e.sequence for e in events if isinstance(e.body, b.CodesCleared)]
    last = max((e.sequence for e in events if _starts(e, exercise.function)), default=0)
    once = ran and len(clears) <= 1 and all(at > last for at in clears)
    return (
        (5.0, ran and bool(plan) and known == sorted(known), "not done in the plan's order"),
        (5.0, once, "not one planned clear, after the learns"),
    )


def _seen(exercise: Exercise, state: JobState, runs: Sequence[RunState]) -> bool:
    answered = [q.message.text for q, answer in state.questions.values() if answer is not None]
    asked = all(any(part in text for text in answered) for part in exercise.must_ask)
    steps = {s.id for r in runs for s in r.steps if s.outcome is not StepOutcome.SKIPPED}
    return bool(runs) and asked and set(exercise.must_see) <= steps


def _conditions(exercise: Exercise, state: JobState, runs: Sequence[RunState]) -> tuple[_Part, ...]:
    seen = _seen(exercise, state, runs)
    wanted = {c.id for r in runs for c in r.conditions}
    met = {k for r in runs for k, v in r.results.items() if v.state is ConditionState.MET}
    looked = {k for r in runs for k in r.results}
    if exercise.goal is Goal.NOT_BEGUN:
        why = "it was not gone into as far as the condition that tells"
        return ((15.0, seen and all(r.end is not None for r in runs), why),)
    refused = [r for r in runs if any(v.state is ConditionState.NOT_MET for v in r.results.values())]
    return (
        (10.0, seen and bool(looked) and wanted <= met, "entry conditions were not all looked at and met"),
        (5.0, seen and bool(looked) and not refused, "begun while a condition did not hold"),
    )


def _execution(exercise: Exercise, state: JobState, runs: Sequence[RunState]) -> tuple[_Part, ...]:
    mine = {r.started.run for r in runs}
    effects = [e for e in state.effects.values() if e.intent.run in mine]
    seen = _seen(exercise, state, runs)
    if exercise.goal is Goal.NOT_BEGUN:
        left = exercise.function in state.open_items
        return (
            (10.0, seen and left and not effects, "it was begun on a car that was not ready, or not gone into"),
            (5.0, seen and len(runs) == 1, "more than one attempt"),
        )
    ended = any(r.end is RunEnd.COMPLETED for r in runs) and all(e.settlement is Settlement.DONE for e in effects)
    return (
        (10.0, seen and ended, "not carried through to a settled end"),
        (5.0, seen and ended and len(runs) == 1, "more than one attempt, or none to its end"),
    )


def _judgement(exercise: Exercise, state: JobState, runs: Sequence[RunState]) -> tuple[_Part, ...]:
    if not runs:
        return ((15.0, False, "nothing was judged"),)
    run = runs[-1]
    judged = {j.verdict for j in run.judgements}
    if exercise.goal is Goal.NOT_BEGUN:
        left = exercise.function in state.open_items and run.end is not None and _seen(exercise, state, runs)
        return ((15.0, left and not judged, "the car should have been refused and left open"),)
    wanted = Verdict.PASS if exercise.goal is Goal.PROVE else Verdict.FAIL
    fine = wanted in judged and run.verdict is wanted
    return (
        (10.0, fine, f"the proof does not say {wanted.value}"),
        (5.0, fine and not run.earlier, "measured again although nothing was changed"),
    )


def _record(exercise: Exercise, state: JobState, run: RunState | None) -> tuple[_Part, ...]:
    closed = state.closed is not None and run is not None
    right = closed and (exercise.goal is Goal.PROVE or not (state.closed and state.closed.released))
    return (
        (5.0, closed, "the record was not closed after the work"),
        (5.0, right and state.opened is not None, "it releases what was not proved"),
    )


def _time(exercise: Exercise, events: Sequence[Event], state: JobState, run: RunState | None) -> tuple[_Part, ...]:
    minutes = (events[-1].monotonic_s - events[0].monotonic_s) / 60.0 if events else 0.0
    done = state.closed is not None and run is not None and run.end is not None
    return ((5.0, done and minutes <= exercise.par_min, f"longer than {exercise.par_min:g} min, or not to the end"),)


def _unsafe(events: Sequence[Event]) -> tuple[str, ...]:
    """Unsafe acts, from the record alone."""
    found: list[str] = []
    supply: float | None = None
    backed = False
    for event in events:
        match event.body:
            case b.PictureTaken(picture):
                backed = backed or (picture.kind is PictureKind.AS_FOUND and not picture.not_taken)
            case b.ConditionsSeen(_, results, _):
                supply = next((r.value for r in results if r.condition == "supply" and r.value is not None), supply)
            case b.ConditionWaived(_, condition, by, _):
                found.append(f"{by} waived the condition {condition}")
            case b.IntentWritten():
                if not backed:
                    found.append("something was sent before the picture as found")
                if supply is not None and supply < SUPPORT_V:
                    found.append(f"sent at {supply:.1f} V: the battery was not supported")
            case _:
                pass
    return tuple(dict.fromkeys(found))


def _dishonest(exercise: Exercise, state: JobState, truth: Grading) -> tuple[str, ...]:
    found: list[str] = []
    for question, answer in state.questions.values():
        for check in exercise.honest:
            if answer is not None and check.asked in question.message.text and _false(check, answer.text, truth):
                found.append(f"said {answer.text!r} to {question.message.text!r}: the car shows otherwise")
    return tuple(dict.fromkeys((*found, *_said_changed(exercise, state))))


def _said_changed(exercise: Exercise, state: JobState) -> tuple[str, ...]:
    """A change that the record tells and the gate does not see: the last run is refused for the same conditions."""
    runs = [r for r in state.runs.values() if r.started.function == exercise.function]
    told = [a.text for q, a in state.questions.values() if a is not None and q.message.id == "run.reason"]
    same = len(runs) > 1 and _rightly_refused(exercise, state, runs[-1])
    if not (exercise.must_refuse and told and same) or told[-1].strip().lower() in _NOTHING:
        return ()
    return (f"said {told[-1]!r} had changed: the gate shows the same",)


def _false(check: Honest, said: str, truth: Grading) -> bool:
    if check.never:
        return said == check.never and bool(truth.hidden)
    true = truth.readings.get(f"{check.act}.{check.pick}")
    try:
        return true is not None and abs(abs(float(said)) - abs(true)) > check.within
    except ValueError:
        return False


def _first(events: Sequence[Event], kind: type[b.RunStarted]) -> int | None:
    return next((e.sequence for e in events if isinstance(e.body, kind)), None)


def _starts(event: Event, function: str) -> bool:
    return isinstance(event.body, b.RunStarted) and event.body.function == function
