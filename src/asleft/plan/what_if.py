"""What moving one thing to another place costs or breaks, computed. Pure."""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say

from .graph import Rule
from .order import moved
from .planned import Planned


class WhatIf(msgspec.Struct, frozen=True):
    """One move in a plan.

    Attributes:
        active_min, elapsed_min: what it adds; negative saves. None when a car state cannot be reached any more.
        broken: hard and soft rules it breaks, with their reasons; a broken hard rule forbids it.
        allowed: no hard rule is broken and every state can be reached.
    """

    active_min: float | None
    elapsed_min: float | None
    broken: tuple[Message, ...]
    allowed: bool

    @property
    def text(self) -> str:
        """One line for a screen."""
        rules = "; ".join(m.text for m in self.broken)
        if self.active_min is None or self.elapsed_min is None:
            return "a car state cannot be reached any more" + (f"; {rules}" if rules else "")
        minutes = f"{self.active_min:+g} min work, {self.elapsed_min:+g} min on the clock"
        return f"{minutes}; {rules}" if rules else minutes


def what_if(planned: Planned, name: str, to: int) -> WhatIf:
    """Put the task called ``name`` at place ``to`` (from 0) of the best order.

    Raises: InputError: act-unknown, no such task or place.
    """
    order = planned.solution.order
    names = [planned.nodes[task].name for task in order]
    if name not in names or not 0 <= to < len(order):
        raise InputError(Code.ACT_UNKNOWN, f"{name} to place {to + 1}; the plan has {', '.join(names)}")
    other = tuple(moved(order, names.index(name), to))
    rules = planned.broken_by(other)
    cost = planned.free_cost(other)
    told = tuple(_told(planned, rule) for rule in rules)
    allowed = cost is not None and not any(rule.hard for rule in rules)
    if cost is None:
        return WhatIf(None, None, told, allowed)
    best = planned.solution
    return WhatIf(cost.active_min - best.active_min, cost.elapsed_min - best.elapsed_min, told, allowed)


def _told(planned: Planned, rule: Rule) -> Message:
    head = "breaks" if rule.hard else "costs rework"
    return say(
        "what-if.hard" if rule.hard else "what-if.soft",
        head + ": {before} before {after} ({why})",
        before=planned.nodes[rule.before].words,
        after=planned.nodes[rule.after].words,
        why=rule.edge.why,
    )
