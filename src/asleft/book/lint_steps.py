"""Lint of the steps of each way: effects, recordings, writes; and the helpers all lint shares. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from asleft.model.effect import Settle
from asleft.model.step import Clear, KeyCycle, Observe, RoutineStart
from asleft.model.step_more import DriveSegment, Read, TimedSequence, Write, any_effect_of
from asleft.proof.saved import recordings_of

from .procedure import Procedure, Way
from .remark import Complaint, Level, Path

#: The one procedure that may clear: it ends the job.
PLANNED_CLEAR = "planned-clear"

Rule = Callable[[Procedure], Iterator[Complaint]]


def warn(path: Path, code: str, why: str, instead: str) -> Complaint:
    """A doubt a person should settle."""
    return Complaint(path, code, why, instead, Level.WARNING)


def gap(path: Path, code: str, why: str, instead: str) -> Complaint:
    """Something not given; it stands on the record."""
    return Complaint(path, code, why, instead, Level.GAP)


def _effects(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        steps = procedure.ways.all_steps(way)
        acting = [n for n, step in enumerate(steps) if any_effect_of(step).needs_receipt]
        if not acting:
            continue
        first: Path = ("ways", way.value, acting[0])
        closing = procedure.function == PLANNED_CLEAR
        if not procedure.cautions and not closing:
            yield warn(first, "no-caution", "a step acts and no caution stands before it", "cautions: …")
        if not procedure.interlocks and not closing:
            yield warn(
                first, "no-interlock", "a step acts on the car and nothing is watched meanwhile", "interlocks: …"
            )
        for n in acting:
            step, path = steps[n], ("ways", way.value, n)
            if isinstance(step, Clear) and not closing:
                why = "clearing belongs to the plan, once, after the stationary learns"
                yield warn(path, "early-clear", why, "leave it to the planned clear")
            told = isinstance(step, RoutineStart) and step.settle is not Settle.NOT_READABLE
            if told and not any(s.__struct_config__.tag == "routine-result" for s in steps[n:]):
                yield warn(path, "no-result", "nothing asks how the routine ended", "a routine-result after it")
            if isinstance(step, Write):
                yield from _write(procedure, way, n, step)


def _write(procedure: Procedure, way: Way, n: int, step: Write) -> Iterator[Complaint]:
    path: Path = ("ways", way.value, n)
    before = procedure.ways.all_steps(way)[:n]
    look = procedure.ways.look if way is Way.BY_WIRE else ()
    kept = (*look, *(s for s in before if isinstance(s, Read)))
    read = any(one.identifier == step.identifier and one.printed is step.printed for one in kept)
    if not read:
        why = f"{step.name} is written and was not read and kept before"
        yield warn(path, "no-picture", why, "a read step of the same identifier before it")
    if not step.restore:
        yield warn(
            path, "no-restore", f"nothing says how {step.name} comes back", "restore: …, or leave it: cannot be undone"
        )


def _recordings(procedure: Procedure) -> Iterator[Complaint]:
    used = {name for c in procedure.criteria for name in recordings_of(c)}
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            path: Path = ("ways", way.value, n)
            if isinstance(step, Observe | KeyCycle | DriveSegment) and step.signals:
                if not step.save:
                    yield warn(path, "not-kept", "what is recorded here is not kept", "save: a name")
                elif step.save not in used:
                    yield gap(
                        (*path, "save"), "not-judged", f'no criterion is computed from "{step.save}"', "criteria: …"
                    )
            if isinstance(step, TimedSequence) and not any(mark.signal for mark in step.marks):
                yield gap(path, "not-watched", "no signal shows any act of this sequence", "signal: where one does")


def _missing_saves(procedure: Procedure) -> Iterator[Complaint]:
    """A way in which a criterion that another way records is never computed."""
    wanted = [(c.id, saved) for c in procedure.criteria for saved in recordings_of(c)]
    for way in procedure.ways.offered:
        kept = {getattr(step, "save", "") for step in procedure.ways.steps(way)}
        for criterion, saved in wanted:
            if saved not in kept:
                why = f'{criterion} cannot be judged this way: nothing saves "{saved}"'
                yield gap(("ways", way.value), "no-recording", why, "the step that records it, in this way as well")


STEP_LINT: tuple[Rule, ...] = (_effects, _recordings, _missing_saves)
