"""A worked-out plan as a problem that can be asked again: given orders, moves of one thing to another place. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from asleft.model.errors import Code, InputError

from .graph import Node, Rule
from .order import Lag, Left, Problem, Solution, cost_of, solve
from .states import CarState, Network


class Planned:
    """A problem with its best order: what ``make_plan`` shows, and what a what-if asks again.

    Attributes:
        nodes: tasks. rules: order rules between them. problem: for the search. solution: the best order.
    """

    def __init__(
        self,
        nodes: tuple[Node, ...],
        rules: tuple[Rule, ...],
        start: CarState,
        network: Network,
        lags: tuple[Lag, ...] = (),
        promised_min: float | None = None,
        left: Left | None = None,
    ) -> None:
        self.nodes = nodes
        self.rules = rules
        self.network = network
        before = frozenset((rule.before, rule.after) for rule in rules)
        self.problem = Problem(tuple(node.task for node in nodes), start, before, lags, promised_min)
        solution = solve(self.problem, network, left=left)
        if solution is None:
            raise InputError(Code.STATE_UNREACHABLE, _unreachable(nodes, start, network, lags))
        self.solution: Solution = solution

    def given(self, names: Sequence[str]) -> Solution | None:
        """The order as somebody gave it (functions or task names), the clear and the end put where they belong.

        Returns: its cost; None when it breaks a hard rule. Soft rules are not asked for here.
        """
        return self._cost(self._unnamed_before(_given_order(self.nodes, names), names))

    def _unnamed_before(self, order: Sequence[int], names: Sequence[str]) -> tuple[int, ...]:
        """What nobody named stands just before the first thing that cannot be done without it."""
        named, placed = set(names), list[int]()

        def place(index: int) -> None:
            if index not in placed:
                for rule in self.rules:
                    before = self.nodes[rule.before]
                    if rule.hard and rule.after == index and not named & {before.name, before.function}:
                        place(rule.before)
                placed.append(index)

        for index in order:
            if self.nodes[index].phase in _FIXED or named & {self.nodes[index].name, self.nodes[index].function}:
                place(index)
        for index in order:
            place(index)
        return tuple(sorted(placed, key=lambda n: self.nodes[n].phase if self.nodes[n].phase in _FIXED else 0))

    def habit(self) -> Solution | None:
        """The order by phases, as a shop is used to (common practice): within a phase as named, hard rules kept."""
        need = {n: {r.before for r in self.rules if r.hard and r.after == n} for n in range(len(self.nodes))}
        order: list[int] = []
        while len(order) < len(self.nodes):
            free = (n for n in need if n not in order and need[n] <= set(order))
            order.append(min(free, key=lambda n: (self._phase(n), n)))
        return self._cost(order)

    def broken_by(self, order: Sequence[int]) -> tuple[Rule, ...]:
        """Rules that an order breaks, hard ones first."""
        rank = {task: n for n, task in enumerate(order)}
        broken = (rule for rule in self.rules if rank[rule.before] > rank[rule.after])
        return tuple(sorted(broken, key=lambda rule: not rule.hard))

    def free_cost(self, order: Sequence[int]) -> Solution | None:
        """What an order costs when no rule is asked for; None when a state cannot be reached."""
        return cost_of(msgspec.structs.replace(self.problem, before=frozenset()), self.network, order)

    def _cost(self, order: Sequence[int]) -> Solution | None:
        hard = frozenset((rule.before, rule.after) for rule in self.rules if rule.hard)
        return cost_of(msgspec.structs.replace(self.problem, before=hard), self.network, order)

    def _phase(self, index: int) -> int:
        phase = self.nodes[index].phase
        return 0 if phase > _END else phase


_END = 9
#: Clear, road, end: where they belong, whatever was said.
_FIXED = (7, 8, 9)


def _given_order(nodes: Sequence[Node], names: Sequence[str]) -> tuple[int, ...]:
    rank = {name: n for n, name in enumerate(dict.fromkeys(names))}
    last = len(rank)

    def place(index: int) -> tuple[int, int, int]:
        node = nodes[index]
        # the clear divides stationary work from the road, whatever was said; the end is the end
        group = 0 if node.phase < 7 or node.phase > 9 else node.phase
        return (group, rank.get(node.name, rank.get(node.function, last)), index)

    return tuple(sorted(range(len(nodes)), key=place))


def _unreachable(nodes: Sequence[Node], start: CarState, network: Network, lags: Sequence[Lag]) -> str:
    for node in nodes:
        if network.cost(start, node.task.wants) is None:
            return f"{node.words}: {node.state} cannot be reached from {start.words}"
    expiring = [lag for lag in lags if lag.most_min < math.inf]
    if expiring:
        names = ", ".join(nodes[lag.after].words for lag in expiring)
        return f"no order keeps the time within which it expires: {names}"
    return "some car state cannot be reached again once another thing is done"
