"""Needs and plan from work items alone: for commands, before a car is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from asleft.book.shelf import load_book
from asleft.event.body import JobOpened
from asleft.event.fold import JobState
from asleft.figure import Look, plan_track
from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.origin import Origin
from asleft.model.vin import NO_VIN
from asleft.model.work import Grade, Need, Plan, Vehicle
from asleft.plan.needs import NeedsFound
from asleft.plan.planned import Planned as Problem
from asleft.plan.planner import to_plan
from asleft.plan.replan import over_the_day
from asleft.plan.track import against, needs_text, totals, track_text
from asleft.plan.what_if import what_if
from asleft.plan.work_items import find_work_item
from asleft.plan.work_rows import FITTINGS
from asleft.plan.workshop import Workshop, read_workshop

from .planning import Asked, needs_and_problem
from .settings import BOOK, data_folder

#: The workshop's own minutes, chances and waits, in the data folder.
MINUTES = "minutes.yaml"


@dataclass(frozen=True)
class Planned:
    """What work calls for, in order.

    Attributes:
        needs, plan: as in a job. before: what must be read before the part comes off. first: mechanical prerequisites.
        checks: advisable things that are no function. questions: fittings nobody answered for, slug and words.
        says: totals, and what it saves against the given order. compared: against the phase habit, moves that were
        asked for, what does not fit the time promised.
    """

    needs: tuple[Need, ...]
    plan: Plan
    before: tuple[Message, ...]
    first: tuple[Message, ...]
    checks: tuple[Message, ...]
    questions: dict[str, str]
    says: str
    compared: tuple[str, ...] = field(default=())

    def lines(self) -> tuple[str, ...]:
        """To read: needs with reasons, then the timed track."""
        told = [m.text for m in (*self.before, *self.first, *self.checks)]
        asked = [
            f"not answered: does the car have {words}? (--fitted or --not-fitted {slug})"
            for slug, words in self.questions.items()
        ]
        track = track_text(self.plan).splitlines()
        return (*needs_text(self.needs).splitlines(), *told, *asked, "", *track, *self.compared)

    def svg(self) -> str:
        """The track as a picture that stands alone."""
        return plan_track(self.plan, look=Look.ALONE)


def plan_for(
    work: Sequence[str],
    vehicle: Vehicle | None = None,
    asked: Asked | None = None,
    moves: Sequence[tuple[str, int]] = (),
) -> Planned:
    """Needs and the best order for work items given by id, words or synonym.

    Args: moves: what-if: task and place, from 1.
    Raises: InputError: unknown-work-item, with the nearest offered; plan-cycle, state-unreachable, cost-missing.
    """
    asked = asked or Asked()
    items = tuple(find_work_item(words) for words in work)
    opened = JobOpened("", vehicle or Vehicle(NO_VIN), items, Origin.VEHICLE, "", "")
    found, problem = needs_and_problem(JobState(opened=opened), load_book(BOOK), asked)
    given = asked.given or tuple(n.function for n in found.needs if n.grade is Grade.REQUIRED)
    plan = to_plan(problem, problem.given(given))
    return _planned(found, plan, problem, asked, moves)


def _planned(
    found: NeedsFound, plan: Plan, problem: Problem, asked: Asked, moves: Sequence[tuple[str, int]]
) -> Planned:
    compared = [against(problem.solution, problem.habit(), "the order by phases").text]
    compared += [f"{name} at place {place}: {what_if(problem, name, place - 1).text}" for name, place in moves]
    if asked.promised_min is not None and (late := over_the_day(problem, asked.promised_min)) is not None:
        compared.append(late.text)
    says = totals(plan).text
    return Planned(found.needs, plan, found.before, found.first, found.checks, found.questions, says, tuple(compared))


def fittings(fitted: Sequence[str], not_fitted: Sequence[str]) -> dict[str, bool]:
    """Answers by fitting. Raises InputError: act-unknown, with those there are."""
    answers = {**dict.fromkeys(fitted, True), **dict.fromkeys(not_fitted, False)}
    for slug in answers:
        if slug not in FITTINGS:
            raise InputError(Code.ACT_UNKNOWN, f"fitting {slug}; there are {', '.join(FITTINGS)}")
    return answers


def own_minutes(folder: Path | None = None) -> Workshop:
    """The workshop's own minutes, chances and waits: ``minutes.yaml`` in its data folder, if there is one.

    Raises: ProcedureError, every error with file and line; OSError.
    """
    path = (folder or data_folder()) / MINUTES
    return workshop_from(path) if path.is_file() else Workshop()


def workshop_from(path: Path) -> Workshop:
    """A workshop from its file. Raises ProcedureError, every error with file and line; OSError."""
    return read_workshop(path.read_bytes(), path.name)
