"""The exact order: a search over what is done and where the car stands. Pure.

A task wants a car state and takes minutes; some tasks must come before others. The best order has the fewest active
minutes, the fewest elapsed minutes among those. Three facts keep the search small without losing the best:

1. A task whose turn it may be and whose state the car is in is done at once: later it cannot cost less, since no way
   between two states is longer than by way of a third.
2. On the way to a task, the car stops at the first state that serves: what lies beyond is reached from there as well.
3. Of two ways to have done the same tasks, one is dropped when the other can follow it to its state and costs no more.

What is returned is proven best, unless the search ran out of room.

Source: M. Held, R. M. Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962), 196–210,
for the search; the three facts follow from the triangle inequality of shortest ways.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from .states import CarState, Network, Route, Sides

#: Partial orders held at once; beyond it the search keeps the cheapest only and proves nothing.
ROOM = 200_000

Cost = tuple[float, float]


class Task(msgspec.Struct, frozen=True):
    """One thing to be done: unique name, car state it wants, its own minutes."""

    name: str
    wants: Sides
    active_min: float
    elapsed_min: float


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
    """One task in an order and the way to its state."""

    task: int
    route: Route


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
    """Cheapest known way to have done some tasks and stand somewhere; ``added`` are the tasks done there at once."""

    cost: Cost
    before: tuple[int, int] | None
    added: tuple[int, ...]


_Key = tuple[int, int]


def solve(problem: Problem, network: Network, room: int = ROOM) -> Solution | None:
    """The best order.

    Args: room: partial orders held at once.
    Returns: None when precedence has a cycle or a state cannot be reached.
    """
    return _Search(problem, network, room).run()


class _Search:
    """One problem worked through by the number of tasks done."""

    def __init__(self, problem: Problem, network: Network, room: int) -> None:
        self.tasks = problem.tasks
        self.network = network
        self.room = room
        self.need = problem.predecessors()
        self.all = (1 << len(problem.tasks)) - 1
        self.start = network.index[problem.start]
        self.serves = [network.serving(task.wants) for task in problem.tasks]
        self.seen: dict[_Key, _Node] = {}
        self.proven = True

    def run(self) -> Solution | None:
        levels: list[dict[_Key, _Node]] = [{} for _ in range(len(self.tasks) + 1)]
        self._settle(levels, (0, self.start), _Node((0.0, 0.0), None, ()))
        for level in levels[:-1]:
            for key, node in self._kept(level).items():
                self.seen[key] = node
                for state, way in self._goals(key).items():
                    cost = (node.cost[0] + way[0], node.cost[1] + way[1])
                    self._settle(levels, (key[0], state), _Node(cost, key, ()))
        if not levels[-1]:
            return None
        key, node = min(levels[-1].items(), key=lambda item: (item[1].cost, item[0]))
        self.seen[key] = node
        return self._trace(key)

    def _settle(self, levels: list[dict[_Key, _Node]], key: _Key, node: _Node) -> None:
        """Do at once all that may be done here, then keep the result if it is the cheapest."""
        done, state = key
        added: list[int] = []
        active, elapsed = node.cost
        while task := next(self._now(done, state), None):
            task -= 1
            added.append(task)
            done |= 1 << task
            active += self.tasks[task].active_min
            elapsed += self.tasks[task].elapsed_min
        level = levels[done.bit_count()]
        known = level.get((done, state))
        if known is None or (active, elapsed) < known.cost:
            level[done, state] = _Node((active, elapsed), node.before, tuple(added))

    def _now(self, done: int, state: int) -> Iterator[int]:
        """Tasks, counted from one, that may be done here and now."""
        for task, serves in enumerate(self.serves, 1):
            if not done >> (task - 1) & 1 and state in serves and not self.need[task - 1] & ~done:
                yield task

    def _goals(self, key: _Key) -> dict[int, Cost]:
        """States worth going to next, with the way's cost: those where some task that may come next is served."""
        done, state = key
        goals: dict[int, Cost] = {}
        for task, serves in enumerate(self.serves):
            if not done >> task & 1 and not self.need[task] & ~done:
                goals |= self.network.first_stops(state, serves)
        return goals

    def _kept(self, level: dict[_Key, _Node]) -> dict[_Key, _Node]:
        """Without what another can follow at no more cost; the cheapest only when there is no room."""
        by_done: dict[int, list[tuple[Cost, int]]] = {}
        for (done, state), node in level.items():
            by_done.setdefault(done, []).append((node.cost, state))
        kept = {
            (done, state): level[done, state]
            for done, group in by_done.items()
            for state in self._undominated(sorted(group))
        }
        if len(kept) > self.room:
            self.proven = False
            kept = dict(sorted(kept.items(), key=lambda item: item[1].cost)[: self.room])
        return kept

    def _undominated(self, group: list[tuple[Cost, int]]) -> Iterator[int]:
        stay: list[tuple[Cost, int]] = []
        for cost, state in group:
            ways = ((c, self.network.distance(s, state)) for c, s in stay)
            if not any(w is not None and (c[0] + w[0], c[1] + w[1]) <= cost for c, w in ways):
                stay.append((cost, state))
                yield state

    def _trace(self, key: _Key) -> Solution:
        parts: list[tuple[_Key, _Node]] = []
        at: _Key | None = key
        cost = self.seen[key].cost
        while at is not None:
            parts.append((at, self.seen[at]))
            at = self.seen[at].before
        placed: list[Placed] = []
        state = self.start
        for (_, end), node in reversed(parts):
            for task in node.added:
                placed.append(Placed(task, self.network.route(state, end)))
                state = end
        return Solution(tuple(placed), cost[0], cost[1], self.proven)


def cost_of(problem: Problem, network: Network, order: Sequence[int]) -> Solution | None:
    """The cheapest way through a given order; None when it breaks precedence or a state cannot be reached."""
    need, done = problem.predecessors(), 0
    layers: list[dict[int, tuple[Cost, int]]] = [{network.index[problem.start]: ((0.0, 0.0), -1)}]
    for task in order:
        if need[task] & ~done:
            return None
        done |= 1 << task
        layers.append(_one_on(network, problem.tasks[task], layers[-1]))
        if not layers[-1]:
            return None
    return _walk_back(network, layers, order)


def _one_on(network: Network, task: Task, layer: dict[int, tuple[Cost, int]]) -> dict[int, tuple[Cost, int]]:
    serves = network.serving(task.wants)
    following: dict[int, tuple[Cost, int]] = {}
    for state, (cost, _) in layer.items():
        for end, way in network.first_stops(state, serves).items():
            total = (cost[0] + way[0] + task.active_min, cost[1] + way[1] + task.elapsed_min)
            if end not in following or total < following[end][0]:
                following[end] = (total, state)
    return following


def _walk_back(network: Network, layers: list[dict[int, tuple[Cost, int]]], order: Sequence[int]) -> Solution:
    state = min(layers[-1], key=lambda s: (layers[-1][s][0], s))
    cost = layers[-1][state][0]
    placed: list[Placed] = []
    for layer, task in zip(reversed(layers[1:]), reversed(order), strict=True):
        before = layer[state][1]
        placed.append(Placed(task, network.route(before, state)))
        state = before
    return Solution(tuple(reversed(placed)), cost[0], cost[1], proven=False)


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
