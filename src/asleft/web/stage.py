"""Where a job stands: which part of the sheet is in hand, which are done, which run and step go on. Pure."""

from __future__ import annotations

from enum import StrEnum, unique

from asleft.event.fold import JobState, RunState
from asleft.model.module import PictureKind
from asleft.model.verdict import Judgement, Rule, Verdict

#: Parts of the job in the order of the work; their templates have the same names.
ORDER = ("received", "work", "found", "needs", "plan", "runs", "left", "record")
#: All parts of the sheet in reading order.
PARTS = ("head", "outcome", *ORDER[:-1], "notes", "record")

PICTURES = {
    "received": PictureKind.AS_RECEIVED,
    "found": PictureKind.AS_FOUND,
    "left": PictureKind.AS_LEFT,
}
#: The question whose answer says that the work on the car is done.
_WORK_DONE = "work.done"
#: The procedure that ends every job.
_CLOSING = "planned-clear"
#: Steps whose record words are too short for a screen.
_STEP_WORDS = {
    "entry-conditions": "Waiting until every entry condition holds.",
    "proof": "The measured values are being judged.",
}


@unique
class Status(StrEnum):
    """How far a part of the sheet is."""

    DONE = "done"
    NOW = "now"
    LATER = "later"


def work_done(state: JobState) -> bool:
    """Whether somebody said that the work is done, or the picture after it is there."""
    if PictureKind.AS_FOUND in state.pictures:
        return True
    asked = (qa for qa in state.questions.values() if qa[0].message.id == _WORK_DONE)
    return any(answer is not None and answer.text == question.choices[0] for question, answer in asked)


def in_hand(state: JobState) -> str:
    """Name of the part in hand; empty before the job is open and after it is closed."""
    if state.opened is None or state.closed is not None:
        return ""
    if PictureKind.AS_RECEIVED not in state.pictures:
        return "received"
    if PictureKind.AS_FOUND not in state.pictures:
        return "found" if work_done(state) else "work"
    if state.plan is None:
        return "needs"
    if PictureKind.AS_LEFT not in state.pictures:
        return "left" if _cleared(state) else "runs"
    return "record"


def _cleared(state: JobState) -> bool:
    return any(r.started.function == _CLOSING and r.end is not None for r in state.runs.values())


def changed_between(before: str, after: str) -> tuple[str, ...]:
    """Parts whose heading changes when the part in hand does, with those between. Empty names are both ends."""
    if before == after:
        return ()
    places = [ORDER.index(name) if name else len(ORDER) - 1 for name in (before, after)]
    if not before:
        places[0] = 0
    return ("head", "outcome", *ORDER[min(places) : max(places) + 1])


def status_of(state: JobState, name: str) -> Status:
    """How far a part is."""
    if name == in_hand(state):
        return Status.NOW
    return Status.DONE if has(state, name) else Status.LATER


def has(state: JobState, name: str) -> bool:
    """Whether a part has something to show."""
    match name:
        case "received" | "found" | "left":
            return PICTURES[name] in state.pictures
        case "work":
            return work_done(state)
        case "needs":
            return bool(state.needs) or state.plan is not None
        case "plan":
            return state.plan is not None
        case "runs":
            return bool(state.runs)
        case _:
            return state.closed is not None


def run_in_hand(state: JobState) -> str:
    """Id of the run that goes on; empty when none does."""
    if state.closed is not None:
        return ""
    return next((r for r, run in reversed(state.runs.items()) if run.end is None and not _judged(run)), "")


def _judged(run: RunState) -> bool:
    """Whether its steps are done; only the end of the job decides the rest."""
    return bool(run.steps) and run.steps[-1].id == "proof" and run.steps[-1].outcome is not None


def step_in_hand(state: JobState) -> str:
    """Words of the step that goes on; empty when none does."""
    run = state.runs.get(run_in_hand(state))
    step = run.steps[-1] if run and run.steps else None
    if step is None or step.outcome is not None:
        return ""
    return _STEP_WORDS.get(step.id) or step.message.text


def last_runs(state: JobState) -> tuple[RunState, ...]:
    """The last run of each function, in the order they were first begun."""
    return tuple({r.started.function: r for r in state.runs.values()}.values())


def not_passed(state: JobState) -> tuple[Judgement, ...]:
    """Criteria that failed or could not be told, of each function's last run."""
    judged = (j for run in last_runs(state) for j in run.judgements)
    return tuple(j for j in judged if j.verdict is not Verdict.PASS and j.rule is not Rule.REPORT_ONLY)
