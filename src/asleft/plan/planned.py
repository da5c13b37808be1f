"""A worked-out plan as a problem that can be asked again: given orders, moves of one thing to another place. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from asleft.model.errors import Code, InputError

from .graph import Node, Rule
from .order import Problem, Solution, cost_of, solve
from .states import CarState, Network


class Planned:
    """A problem with its best order: what ``make_plan`` shows, and what a what-if asks again.

    Attributes:
        nodes: tasks. rules: order rules between them. problem: for the search. solution: the best order.
    """

    def __init__(self, nodes: tuple[Node, ...], rules: tuple[Rule, ...], start: CarState, network: Network) -> None:
        self.nodes = nodes
        self.rules = rules
        self.network = network
        before = frozenset((rule.before, rule.after) for rule in rules)
        self.problem = Problem(tuple(node.task for node in nodes), start, before)
        solution = solve(self.problem, network)
        if solution is None:
            raise InputError(Code.STATE_UNREACHABLE, _unreachable(nodes, start, network))
        self.solution: Solution = solution

    def given(self, names: Sequence[str]) -> Solution | None:
        """The order as somebody gave it (functions or task names), the clear and the end put where they belong.

        Returns: its cost; None when it breaks a hard rule. Soft rules are not asked for here.
        """
        return self._cost(_given_order(self.nodes, names))

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
        return cost_of(Problem(self.problem.tasks, self.problem.start, frozenset()), self.network, order)

    def _cost(self, order: Sequence[int]) -> Solution | None:
        hard = frozenset((rule.before, rule.after) for rule in self.rules if rule.hard)
        return cost_of(Problem(self.problem.tasks, self.problem.start, hard), self.network, order)

    def _phase(self, index: int) -> int:
        phase = self.nodes[index].phase
        return 0 if phase > _END else phase


_END = 9


def _given_order(nodes: Sequence[Node], names: Sequence[str]) -> tuple[int, ...]:
    rank = {name: n for n, name in enumerate(dict.fromkeys(names))}
    last = len(rank)

    def place(index: int) -> tuple[int, int, int]:
        node = nodes[index]
        # the clear divides stationary work from the road, whatever was said; the end is the end
        group = 0 if node.phase < 7 or node.phase > 9 else node.phase
        return (group, rank.get(node.name, rank.get(node.function, last)), index)

    return tuple(sorted(range(len(nodes)), key=place))


def _unreachable(nodes: Sequence[Node], start: CarState, network: Network) -> str:
    for node in nodes:
        if network.cost(start, node.task.wants) is None:
            return f"{node.words}: {node.state} cannot be reached from {start.words}"
    return "some car state cannot be reached again once another thing is done"
