"""Needs and plan from work items alone: for commands, before a car is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asleft.book.shelf import load_book
from asleft.event.body import JobOpened
from asleft.event.fold import JobState
from asleft.figure import Look, plan_track
from asleft.model.message import Message
from asleft.model.origin import Origin
from asleft.model.vin import NO_VIN
from asleft.model.work import Grade, Need, Plan, Vehicle
from asleft.plan.work_items import find_work_item

from .planning import needs_and_plan
from .settings import BOOK


@dataclass(frozen=True)
class Planned:
    """What work calls for, in order.

    Attributes:
        needs, plan: as in a job. before: what must be read before the part comes off. first: mechanical prerequisites.
        questions: fittings nobody answered for.
    """

    needs: tuple[Need, ...]
    plan: Plan
    before: tuple[Message, ...]
    first: tuple[Message, ...]
    questions: tuple[str, ...]

    def lines(self) -> tuple[str, ...]:
        """To read: needs with reasons, then the track."""
        needs = [
            f"{n.grade.value.replace('-', ' '):<12} {n.name}: {'; '.join(r.text for r in n.reasons)}"
            + ("" if n.procedure or n.grade is Grade.NOT_NEEDED else " (no procedure in the book)")
            for n in self.needs
        ]
        track = [f"{s.work_min + s.move_min:5.0f} min  {s.name} [{s.state}]: {s.why.text}" for s in self.plan.steps]
        told = [f"before the part comes off: {m.text}" for m in self.before]
        first = [f"first: {m.text}" for m in self.first]
        asked = [f"not answered: does the car have {q}?" for q in self.questions]
        return (*needs, *told, *first, *asked, "", *track, *self._total())

    def _total(self) -> tuple[str, ...]:
        plan = self.plan
        proof = "; no order takes less" if plan.proven else ""
        given = ""
        if plan.given_active_min is not None and plan.given_active_min > plan.active_min:
            given = (
                f"; as given {plan.given_active_min:.0f} min, {plan.given_active_min - plan.active_min:.0f} min more"
            )
        return (f"{plan.active_min:.0f} min of work, {plan.elapsed_min:.0f} min by the clock{proof}{given}",)

    def svg(self) -> str:
        """The track as a picture that stands alone."""
        return plan_track(self.plan, look=Look.ALONE)


def plan_for(work: Sequence[str], make: str = "", model: str = "", year: int | None = None) -> Planned:
    """Needs and the best order for work items given by id, words or synonym.

    Raises: InputError: unknown-work-item, with the nearest offered; plan-cycle, state-unreachable, cost-missing.
    """
    items = tuple(find_work_item(words) for words in work)
    vehicle = Vehicle(NO_VIN, make, model, year)
    opened = JobOpened("", vehicle, items, Origin.VEHICLE, "", "")
    found, plan = needs_and_plan(JobState(opened=opened), load_book(BOOK))
    return Planned(found.needs, plan, found.before, found.first, tuple(found.questions.values()))
