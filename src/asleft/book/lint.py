"""Lint: what is doubtful in a procedure that may be used, and what is not given.

Errors are the loader's; a file with errors never gets here. Warnings are doubts a person should settle; gaps stand on
the record as not given. Neither keeps a procedure from being used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from asleft.model.condition import ConditionKind
from asleft.model.step import Clear, KeyCycle, Observe
from asleft.model.step_more import any_effect_of

from .loader import LoadedProcedure
from .procedure import Procedure, SourceKind, Way
from .remark import Complaint, Level, Path, Remark

#: The one procedure that may clear: it ends the job.
PLANNED_CLEAR = "planned-clear"

Rule = Callable[[Procedure], Iterator[Complaint]]


def lint(loaded: LoadedProcedure) -> tuple[Remark, ...]:
    """Warnings and gaps of a loaded procedure, by line."""
    found = [loaded.lines.remark(c) for rule in RULES for c in rule(loaded.procedure)]
    return tuple(sorted(found, key=lambda r: (r.line, r.field, r.code)))


def _warn(path: Path, code: str, why: str, instead: str) -> Complaint:
    return Complaint(path, code, why, instead, Level.WARNING)


def _gap(path: Path, code: str, why: str, instead: str) -> Complaint:
    return Complaint(path, code, why, instead, Level.GAP)


def _source(procedure: Procedure) -> Iterator[Complaint]:
    source = procedure.source
    if source.kind is SourceKind.TEMPLATE:
        return
    for field in ("title", "edition", "page", "entered_by"):
        if not getattr(source, field):
            key = field.replace("_", "-")
            yield _gap(("source",), "source-gap", f"{key} is not given", f"{key}: as on the page")
    if not source.checked_by:
        why = "nobody has checked the numbers against the page"
        yield _gap(("source",), "unchecked", why, "checked-by: a second person")
    elif source.checked_by == source.entered_by:
        why = "the same person entered and checked the numbers"
        yield _warn(("source", "checked-by"), "self-checked", why, "a second person")


def _limits(procedure: Procedure) -> Iterator[Complaint]:
    for n, condition in enumerate(procedure.entry):
        path: Path = ("entry", n)
        if not condition.source:
            yield _gap(
                path, "no-source", f"{condition.id} has no source", "source: page, or common practice, no source"
            )
        if condition.kind is not ConditionKind.DECLARED and not condition.printed:
            yield _gap(path, "not-as-printed", f"{condition.id} lacks its printed form", "printed: as on the page")


def _shape(procedure: Procedure) -> Iterator[Complaint]:
    if not procedure.ways.offered:
        yield _gap((), "no-way", "no way of carrying it out has steps", "ways: …")
    if not procedure.criteria:
        yield _gap((), "no-proof", "no criteria: nothing would show that it worked", "criteria: …")
    if not procedure.entry:
        yield _gap((), "no-entry", "no entry conditions", "entry: …")
    if not procedure.screening.block and not procedure.screening.expected:
        yield _gap((), "no-screening", "no screening lists: every code would wait for a person", "screening: …")
    if procedure.minutes is None:
        yield _gap((), "no-minutes", "minutes are not given; the plan will ask", "minutes: {active: …, elapsed: …}")
    if not procedure.state:
        yield _gap((), "no-state", "the car state is not given; the plan will ask", "state: …")
    if not procedure.causes:
        yield _gap((), "no-causes", "no causes of failure", "causes: …")
    if not procedure.after_interruption:
        yield _gap((), "no-after", "nothing says what to do after an interruption", "after-interruption: …")


def _effects(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        steps = procedure.ways.all_steps(way)
        acting = [n for n, step in enumerate(steps) if any_effect_of(step).needs_receipt]
        if acting and not procedure.cautions:
            why = "a step acts on the car and no caution stands before it"
            yield _warn(("ways", way.value, acting[0]), "no-caution", why, "cautions: …")
        if acting and not procedure.interlocks:
            why = "a step acts on the car and nothing is watched meanwhile"
            yield _warn(("ways", way.value, acting[0]), "no-interlock", why, "interlocks: …")
        for n in acting:
            if isinstance(steps[n], Clear) and procedure.function != PLANNED_CLEAR:
                why = "clearing belongs to the plan, once, after the stationary learns"
                yield _warn(("ways", way.value, n), "early-clear", why, "leave it to the planned clear")


def _recordings(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            path: Path = ("ways", way.value, n)
            if isinstance(step, Observe | KeyCycle) and step.signals and not step.save:
                yield _warn(path, "not-kept", "what is recorded here is not kept", "save: a name")


RULES: tuple[Rule, ...] = (_source, _limits, _shape, _effects, _recordings)
