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
        order = _given_order(self.nodes, names)
        hard = frozenset((rule.before, rule.after) for rule in self.rules if rule.hard)
        return cost_of(Problem(self.problem.tasks, self.problem.start, hard), self.network, order)


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
