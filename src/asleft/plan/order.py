"""The exact order: dynamic programming over what is done and where the car stands. Pure.

A task wants a car state and takes minutes; some tasks must come before others. The best order has the fewest active
minutes, the fewest elapsed minutes among those. The search keeps, for every set of done tasks that the precedence
allows and every car state, only the cheapest way there; what it returns is proven best, unless it ran out of room.

Source: M. Held, R. M. Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962), 196–210.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from .states import CarState, Network, Route, Sides

#: Partial orders held at once; beyond it the search keeps the cheapest only and proves nothing.
ROOM = 400_000

Cost = tuple[float, float]


class Task(msgspec.Struct, frozen=True):
    """One thing to be done.

    Attributes:
        name: unique.
        wants: car state.
        active_min, elapsed_min: its own minutes.
        sets: sides of the state it changes by itself.
    """

    name: str
    wants: Sides
    active_min: float
    elapsed_min: float
    sets: dict[str, str] = {}


class Problem(msgspec.Struct, frozen=True):
    """Tasks, where the car stands, and which tasks come before which (indices)."""

    tasks: tuple[Task, ...]
    start: CarState
    before: frozenset[tuple[int, int]]

    def predecessors(self) -> list[int]:
        """For each task, the bits of all that must be done before it."""
        bits = [0] * len(self.tasks)
        for a, b in self.before:
            bits[b] |= 1 << a
        return bits


class Placed(msgspec.Struct, frozen=True):
    """One task in an order: the way to its state and where the car stands afterwards."""

    task: int
    route: Route
    end: CarState


class Solution(msgspec.Struct, frozen=True):
    """An order with its cost."""

    placed: tuple[Placed, ...]
    active_min: float
    elapsed_min: float
    proven: bool

    @property
    def cost(self) -> Cost:
        """Active first, elapsed as tie."""
        return (self.active_min, self.elapsed_min)

    @property
    def order(self) -> tuple[int, ...]:
        """Task indices in order."""
        return tuple(p.task for p in self.placed)


class _Node(msgspec.Struct, frozen=True):
    cost: Cost
    before: tuple[int, CarState] | None
    placed: Placed | None


_Key = tuple[int, CarState]
_Layer = dict[_Key, _Node]


def solve(problem: Problem, network: Network, room: int = ROOM) -> Solution | None:
    """The best order.

    Args: room: partial orders held at once.
    Returns: None when precedence has a cycle or a state cannot be reached.
    """
    search, proven = _Search(problem, network), True
    layers = [search.first()]
    for _ in problem.tasks:
        layer = search.next(layers[-1])
        if len(layer) > room:
            proven = False
            layer = dict(sorted(layer.items(), key=lambda item: item[1].cost)[:room])
        if not layer:
            return None
        layers.append(layer)
    return _trace(layers, proven)


def cost_of(problem: Problem, network: Network, order: Sequence[int]) -> Solution | None:
    """The cheapest way through a given order; None when it breaks precedence or a state cannot be reached."""
    search = _Search(problem, network)
    layers, done = [search.first()], 0
    for task in order:
        if search.need[task] & ~done:
            return None
        layer: _Layer = {}
        for key, node in layers[-1].items():
            search.extend(key, node, task, layer)
        if not layer:
            return None
        done |= 1 << task
        layers.append(layer)
    return _trace(layers, proven=False)


class _Search:
    """One problem, and how a partial order grows by one task."""

    def __init__(self, problem: Problem, network: Network) -> None:
        self.problem = problem
        self.network = network
        self.need = problem.predecessors()

    def first(self) -> _Layer:
        return {(0, self.problem.start): _Node((0.0, 0.0), None, None)}

    def next(self, last: _Layer) -> _Layer:
        layer: _Layer = {}
        for key, node in last.items():
            for task in range(len(self.problem.tasks)):
                if not key[0] >> task & 1 and not self.need[task] & ~key[0]:
                    self.extend(key, node, task, layer)
        return layer

    def extend(self, key: _Key, node: _Node, task: int, layer: _Layer) -> None:
        what = self.problem.tasks[task]
        for route in self.network.to(key[1], what.wants):
            end = route.end.after(what.sets)
            active = node.cost[0] + route.active_min + what.active_min
            cost = (active, node.cost[1] + route.elapsed_min + what.elapsed_min)
            new = (key[0] | 1 << task, end)
            known = layer.get(new)
            if known is None or cost < known.cost:
                layer[new] = _Node(cost, key, Placed(task, route, end))


def _trace(layers: list[_Layer], proven: bool) -> Solution:
    key, node = min(layers[-1].items(), key=lambda item: (item[1].cost, item[0][1]))
    placed: list[Placed] = []
    cost = node.cost
    for layer in reversed(layers[1:]):
        node = layer[key]
        if node.placed is None or node.before is None:
            break
        placed.append(node.placed)
        key = node.before
    return Solution(tuple(reversed(placed)), cost[0], cost[1], proven)


def cycle_in(count: int, before: frozenset[tuple[int, int]]) -> tuple[int, ...]:
    """A cycle among precedence pairs as task indices, first repeated at the end; empty when there is none."""
    after: dict[int, list[int]] = {n: [] for n in range(count)}
    for a, b in sorted(before):
        after[a].append(b)
    done: set[int] = set()
    for start in range(count):
        found = _walk(start, after, done, [])
        if found:
            return tuple(found)
    return ()


def _walk(node: int, after: dict[int, list[int]], done: set[int], path: list[int]) -> list[int]:
    if node in path:
        return [*path[path.index(node) :], node]
    if node in done:
        return []
    for following in after[node]:
        found = _walk(following, after, done, [*path, node])
        if found:
            return found
    done.add(node)
    return []


def moved(order: Sequence[int], place: int, to: int) -> Iterator[int]:
    """The order with the task at one place put at another."""
    rest = [task for n, task in enumerate(order) if n != place]
    yield from (*rest[:to], order[place], *rest[to:])
