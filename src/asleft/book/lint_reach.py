"""Lint of what no car, code or answer can ever reach, and of answers that nothing holds against a signal. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from asleft.model.module import ModuleState
from asleft.model.step import Observe, RoutineResult, RoutineStart
from asleft.model.step_more import Actuate, WaitUntil

from .check_reach import span
from .lint_steps import Rule, gap, warn
from .procedure import ModuleNumbers, Procedure, Way
from .remark import Complaint, Path


def _rows(procedure: Procedure) -> Iterator[Complaint]:
    """Rows of the table for modules that the procedure is not for."""
    wanted = procedure.applies.numbers
    if not wanted or procedure.identifier is None:
        return
    for n, row in enumerate(procedure.identifier.rows):
        mine = ModuleNumbers(row.part_number, row.software_number)
        if not any(one.meets(mine) for one in wanted):
            why = f"{row.row} is for a module that applies leaves out; it is never used"
            yield warn(("identifier", "rows", n), "unreachable", why, "its numbers under applies, or no such row")


def _results(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            known = isinstance(step, RoutineResult) and step.states
            if known and not any(state.state is ModuleState.STORED for state in known):
                why = "no value of the result means stored; it can only end in a refusal or too late"
                yield warn(("ways", way.value, n, "states"), "unreachable", why, "the value that means stored")


def _waits(procedure: Procedure) -> Iterator[Complaint]:
    """What is waited for while an interlock forbids it; the steps after it are never reached."""
    held = [(c, bounds) for c, _ in procedure.watched if (bounds := span(c)) is not None]
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            bounds = span(step.condition) if isinstance(step, WaitUntil) else None
            for condition, (low, high) in held if bounds is not None else ():
                same = isinstance(step, WaitUntil) and condition.signal == step.condition.signal
                if same and bounds is not None and (bounds[0] > high or low > bounds[1]):
                    why = f"the interlock {condition.id} forbids what is waited for"
                    yield warn(("ways", way.value, n), "unreachable", why, "another way to say it, or no interlock")


def _lists(procedure: Procedure) -> Iterator[Complaint]:
    """Codes on a list that an earlier list decides already."""
    screening = procedure.screening
    lists = (("expected", screening.expected), ("expected-if-new", screening.expected_if_new))
    seen = set(screening.block)
    for key, codes in lists:
        for n, code in enumerate(codes):
            if code in seen:
                why = f"{code} stands on an earlier list, which decides"
                yield warn(("screening", key, n), "unreachable", why, "on one list only")
        seen.update(codes)


def _answers(procedure: Procedure) -> Iterator[Complaint]:
    for n, question in enumerate(procedure.ways.questions):
        if not question.agree:
            why = f"nothing holds the answer to {question.id} against a signal"
            yield gap(("ways", "questions", n), "not-agreed", why, "agree: the signal, where one shows it")


def _restore(procedure: Procedure) -> Iterator[Complaint]:
    """A routine or a controlled output changes the car; how that comes back, or that it cannot."""
    if procedure.restore:
        return
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            if isinstance(step, RoutineStart | Actuate):
                why = "nothing says how what it changes comes back"
                yield gap(("ways", way.value, n), "no-restore", why, "restore: …, or restore: cannot be undone")
                return


def _sources(procedure: Procedure) -> Iterator[Complaint]:
    for n, one in enumerate(procedure.sources):
        path: Path = ("sources", n)
        if not one.source.page:
            yield gap((*path, "source"), "source-gap", f"the page of {one.at} is not given", "page: …")
        if not one.source.entered_by:
            yield gap((*path, "source"), "source-gap", f"who entered {one.at} is not given", "entered-by: …")


def _looks(procedure: Procedure) -> Iterator[Complaint]:
    """Something acts by wire and nothing is read before and after it."""
    steps = procedure.ways.by_wire
    acts = any(isinstance(step, RoutineStart | Actuate) for step in steps)
    if acts and not procedure.ways.look and not any(isinstance(step, Observe) for step in steps):
        why = "no value is read before and after it"
        yield gap(("ways", "by-wire"), "no-look", why, "look: what the module tells of it")


REACH_LINT: tuple[Rule, ...] = (_rows, _results, _waits, _lists, _answers, _restore, _sources, _looks)
