"""Another order than the best one: what it costs and breaks, computed by the plan. Nothing of it is recorded."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft.book.shelf import load_book
from asleft.event.fold import JobState
from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.work import Plan, PlanStep
from asleft.plan.graph import Rule
from asleft.plan.planned import Planned

from .fittings import answered
from .own_book import with_own
from .planning import Asked, needs_and_problem
from .plans import own_minutes
from .settings import BOOK


class Conflict(msgspec.Struct, frozen=True):
    """A rule that an order breaks: names of both, words of both, why; ``hard``: it forbids the order."""

    before: str
    after: str
    before_words: str
    after_words: str
    why: str
    hard: bool


class Tried(msgspec.Struct, frozen=True):
    """An order as tried.

    Attributes:
        order: names in order, the best one's names. plan: its places with minutes; None: a car state is out of reach.
        active_min, elapsed_min: more than the best order; negative: less (then it breaks a rule).
        conflicts: rules it breaks, hard ones first. best: it is the best order.
        best_min: active minutes of the best order as the book stands now.
    """

    order: tuple[str, ...]
    words: dict[str, str]
    plan: Plan | None
    active_min: float | None
    elapsed_min: float | None
    conflicts: tuple[Conflict, ...]
    best: bool
    best_min: float

    @property
    def allowed(self) -> bool:
        """Whether it can be worked."""
        return self.plan is not None and not any(c.hard for c in self.conflicts)


def try_order(state: JobState, names: Sequence[str] = (), promised_min: float | None = None) -> Tried:
    """What an order costs and breaks against the best one; without names the best itself.

    Raises: InputError: act-unknown, the names are not those of the plan, each once; as ``needs_and_problem``.
    """
    asked = Asked(fitted=answered(state), workshop=own_minutes(), promised_min=promised_min)
    _, planned = needs_and_problem(state, with_own(load_book(BOOK)), asked)
    best = planned.solution
    known = {planned.nodes[task].name: task for task in best.order}
    order = tuple(known[name] for name in names if name in known) if names else tuple(best.order)
    if len(names or known) != len(known) or sorted(order) != sorted(best.order):
        raise InputError(Code.ACT_UNKNOWN, f"the plan has {', '.join(known)}")
    cost = planned.free_cost(order)
    conflicts = tuple(_conflict(planned, rule) for rule in planned.broken_by(order))
    words = {node.name: node.words for node in planned.nodes}
    told = tuple(planned.nodes[task].name for task in order)
    if cost is None:
        return Tried(told, words, None, None, None, conflicts, False, best.active_min)
    steps = tuple(
        PlanStep(
            node.name,
            node.words,
            node.state,
            placed.route.active_min,
            node.task.active_min,
            placed.route.elapsed_min + placed.wait_min + node.task.elapsed_min,
            Message("plan.tried", ""),
            node.procedure,
        )
        for placed in cost.placed
        for node in (planned.nodes[placed.task],)
    )
    plan = Plan(steps, cost.active_min, cost.elapsed_min, None, False)
    same = order == tuple(best.order)
    more = (cost.active_min - best.active_min, cost.elapsed_min - best.elapsed_min)
    return Tried(told, words, plan, *more, conflicts, same, best.active_min)


def _conflict(planned: Planned, rule: Rule) -> Conflict:
    before, after = planned.nodes[rule.before], planned.nodes[rule.after]
    return Conflict(before.name, after.name, before.words, after.words, rule.edge.why, rule.hard)
