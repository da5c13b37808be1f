"""Lint: what is doubtful in a procedure that may be used, and what is not given.

Errors are the loader's; a file with errors never gets here. Warnings are doubts a person should settle; gaps stand on
the record as not given. Neither keeps a procedure from being used. ``lint_book`` looks at procedures beside each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from asleft.model.condition import ConditionKind
from asleft.model.verdict import LimitOwner

from .catalogue_entries import CAUTION_WORDS, catalogue
from .fit import plain
from .functions import FUNCTIONS
from .lint_reach import REACH_LINT
from .lint_steps import PLANNED_CLEAR, STEP_LINT, Rule, gap, warn
from .loader import LoadedProcedure
from .procedure import Applies, Procedure, SourceKind
from .remark import Complaint, Path, Remark, nearest

_SOURCE_FIELDS = ("title", "edition", "page", "entered_by")
_NO_SOURCE = "common practice"


def lint(loaded: LoadedProcedure) -> tuple[Remark, ...]:
    """Warnings and gaps of a loaded procedure, by line."""
    found = [loaded.lines.remark(c) for rule in RULES for c in rule(loaded.procedure)]
    return tuple(sorted(found, key=lambda r: (r.line, r.field, r.code)))


def lint_book(procedures: Sequence[LoadedProcedure]) -> tuple[Remark, ...]:
    """Warnings about procedures that are for the same cars, beside those of each one."""
    found = [remark for loaded in procedures for remark in lint(loaded)]
    for a, b in _pairs(procedures):
        why = f"for some cars {a.procedure.id} is for the same function"
        found.append(b.lines.remark(warn(("applies",), "overlap", why, "years, engine or part numbers that part them")))
    return tuple(found)


def _pairs(procedures: Sequence[LoadedProcedure]) -> Iterator[tuple[LoadedProcedure, LoadedProcedure]]:
    """Pairs that can be meant for one car; only those of one function and make are held against each other."""
    groups: dict[tuple[str, str], list[LoadedProcedure]] = {}
    for loaded in procedures:
        make = plain(loaded.procedure.applies.make)
        if make:
            groups.setdefault((loaded.procedure.function, make), []).append(loaded)
    for group in groups.values():
        for a, b in combinations(group, 2):
            if _overlap(a.procedure.applies, b.procedure.applies):
                yield a, b


def _overlap(a: Applies, b: Applies) -> bool:
    """Whether one car of their make can be meant by both."""
    for field in ("model", "engine", "propulsion", "throttle"):
        x, y = getattr(a, field), getattr(b, field)
        if x and y and plain(str(x)) != plain(str(y)):
            return False
    if a.numbers and b.numbers and not any(x.meets(y) or y.meets(x) for x in a.numbers for y in b.numbers):
        return False
    return a.years is None or b.years is None or (a.years[0] <= b.years[1] and b.years[0] <= a.years[1])


def _function(procedure: Procedure) -> Iterator[Complaint]:
    function = FUNCTIONS.get(procedure.function)
    if function is None:
        if procedure.function != PLANNED_CLEAR:
            near = nearest(procedure.function, tuple(FUNCTIONS)) or "one of the catalogue, if it is there"
            yield warn(("function",), "function", f'"{procedure.function}" is not in the catalogue', near)
        return
    if procedure.risk < function.risk:
        why = f"the catalogue gives this function risk {function.risk}"
        yield warn(("risk",), "risk", why, f"risk: {function.risk}")


def _source(procedure: Procedure) -> Iterator[Complaint]:
    source = procedure.source
    if source.kind is SourceKind.TEMPLATE:
        return
    fields = ("title", "entered_by") if source.kind is SourceKind.WORKSHOP_NOTE else _SOURCE_FIELDS
    for field in fields:
        if not getattr(source, field):
            key = field.replace("_", "-")
            yield gap(("source",), "source-gap", f"{key} is not given", f"{key}: as on the page")
    if not source.checked_by:
        why = "nobody has checked the numbers against the page"
        yield gap(("source",), "unchecked", why, "checked-by: a second person")
    elif source.checked_by == source.entered_by:
        why = "the same person entered and checked the numbers"
        yield warn(("source", "checked-by"), "self-checked", why, "a second person")


def _limits(procedure: Procedure) -> Iterator[Complaint]:
    for n, condition in enumerate(procedure.entry):
        path: Path = ("entry", n)
        if not condition.source:
            instead = "source: the page, or common practice, no source"
            yield gap(path, "no-source", f"{condition.id} has no source", instead)
        measured = condition.kind is not ConditionKind.DECLARED
        if measured and not condition.printed and not condition.source.startswith(_NO_SOURCE):
            yield gap(path, "not-as-printed", f"{condition.id} lacks its printed form", "printed: as on the page")
    for n, criterion in enumerate(procedure.criteria):
        limits = getattr(criterion, "limits", None)
        if limits is None:
            continue
        path = ("criteria", n, "limits")
        if not limits.source:
            yield gap(
                path, "no-source", f"{criterion.id} has no source", "source: the page, or common practice, no source"
            )
        if limits.owner == LimitOwner.PRINTED.name.casefold() and not limits.printed:
            yield gap(path, "not-as-printed", f"{criterion.id} lacks its printed form", "printed: as on the page")


def _shape(procedure: Procedure) -> Iterator[Complaint]:
    if not procedure.ways.offered:
        yield gap((), "no-way", "no way of carrying it out has steps", "ways: …")
    if not procedure.criteria and procedure.function != PLANNED_CLEAR:
        told = "only words show that it worked" if procedure.proof_in_words else "nothing would show that it worked"
        missing = f"; not measured: {'; '.join(procedure.unmeasured)}" if procedure.unmeasured else ""
        yield gap((), "no-proof", told + missing, "criteria: …")
    if not procedure.entry:
        yield gap((), "no-entry", "no entry conditions", "entry: …")
    if not procedure.screening.block and not procedure.screening.expected and procedure.function != PLANNED_CLEAR:
        yield gap((), "no-screening", "no screening lists: every code would wait for a person", "screening: …")
    if procedure.minutes is None:
        yield gap((), "no-minutes", "minutes are not given; the plan will ask", "minutes: {active: …, elapsed: …}")
    if not procedure.state:
        yield gap((), "no-state", "the car state is not given; the plan will ask", "state: …")
    if procedure.function != PLANNED_CLEAR:
        if not procedure.causes:
            yield gap((), "no-causes", "no causes of failure", "causes: …")
        if not procedure.after_interruption:
            yield gap((), "no-after", "nothing says what to do after an interruption", "after-interruption: …")


def _hazards(procedure: Procedure) -> Iterator[Complaint]:
    entry = catalogue().get(procedure.function)
    said = " ".join(procedure.cautions).casefold()
    for hazard in entry.hazards if entry is not None else ():
        if not any(word in said for word in CAUTION_WORDS[hazard]):
            why = f"no caution speaks of {hazard.value.replace('-', ' ')}"
            yield warn(("cautions",), "hazard", why, "the usual caution of the function's template")


RULES: tuple[Rule, ...] = (
    _function,
    _source,
    _limits,
    _shape,
    _hazards,
    *STEP_LINT,
    *REACH_LINT,
)
