"""The exact order: tasks, what comes before what, waits, and the best order under the stated objective. Pure.

A task wants a car state and takes minutes; some tasks must come before others; some must wait, or expire. Objective,
one after the other: lateness against the promised time, active minutes, drives and lift and floor moves, expected cost
of late discovery, calendar minutes (``weights``). ``solve`` takes ways between car states (a ``Network``: ``search``)
or ways between the tasks themselves (a ``Table``: ``bounded``).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from .states import CarState, Network, Route, Sides
from .weights import Costs, apart, steps

if TYPE_CHECKING:
    from .search import Search

#: Partial orders held at once; beyond it the search keeps the cheapest only and proves nothing.
ROOM = 200_000

#: Partial orders held while orders alike in minutes and moves are sorted by late discovery.
TIES = 60

#: Seconds left of the time the caller gives; None: as long as it takes.
Left = Callable[[], float]

#: Name for the begin of the plan in a wait.
BEGIN = -1


class Task(msgspec.Struct, frozen=True):
    """One thing to be done: unique name, car state it wants, its own minutes.

    Attributes:
        leaves: sides of the car state that it changes. fails: chance that it fails and stops what comes after.
    """

    name: str
    wants: Sides
    active_min: float
    elapsed_min: float
    leaves: Mapping[str, str] = {}
    fails: float = 0.0


class Lag(msgspec.Struct, frozen=True):
    """A wait between the end of one task (``BEGIN``: of the plan's begin) and the begin of another, calendar minutes.

    Attributes:
        before, after: task indices. least_min: curing, cooling. most_min: it expires. why: words.
    """

    before: int
    after: int
    least_min: float = 0.0
    most_min: float = math.inf
    why: str = ""


class Problem(msgspec.Struct, frozen=True):
    """Tasks, where the car stands, which tasks come before which (indices), waits, and the time promised."""

    tasks: tuple[Task, ...]
    start: CarState
    before: frozenset[tuple[int, int]]
    lags: tuple[Lag, ...] = ()
    promised_min: float | None = None

    def predecessors(self) -> list[int]:
        """For each task, the bits of all that must be done before it."""
        bits = [0] * len(self.tasks)
        for a, b in (*self.before, *((lag.before, lag.after) for lag in self.lags if lag.before >= 0)):
            bits[b] |= 1 << a
        return bits


class Placed(msgspec.Struct, frozen=True):
    """One task in an order, the way to its state, and calendar minutes waited there before it may begin."""

    task: int
    route: Route
    wait_min: float = 0.0


class Solution(msgspec.Struct, frozen=True):
    """An order with its cost.

    Attributes:
        proven: no order is better in lateness, active minutes and moves. ties: nor in late discovery among these.
        bound_min: no order takes fewer active minutes.
    """

    placed: tuple[Placed, ...]
    cost: Costs
    proven: bool
    bound_min: float = 0.0
    ties: bool = True

    @property
    def active_min(self) -> float:
        """Minutes the technician is busy."""
        return self.cost.active_min

    @property
    def elapsed_min(self) -> float:
        """Minutes by the calendar."""
        return self.cost.elapsed_min

    @property
    def gap_min(self) -> float:
        """Active minutes that a better order could save at most."""
        return max(0.0, self.active_min - self.bound_min)

    @property
    def order(self) -> tuple[int, ...]:
        """Task indices in order."""
        return tuple(p.task for p in self.placed)


class Table(msgspec.Struct, frozen=True):
    """Ways between the tasks themselves, each task at a stand of its own; nothing leads by way of a third.

    Attributes:
        first: minutes from the start to each task. between: from each to each; infinite where there is no way.
    """

    first: tuple[float, ...]
    between: tuple[tuple[float, ...], ...]


def solve(problem: Problem, ways: Network | Table, room: int = ROOM, left: Left | None = None) -> Solution | None:
    """The best order.

    Args: room: partial orders held at once. left: seconds left; when they run out, the best found with its bound.
    Returns: None when precedence has a cycle, a state cannot be reached, or a wait cannot be kept.
    """
    if isinstance(ways, Table):
        from .bounded import solve_table  # noqa: PLC0415  needs scipy.optimize, half a second to import

        return solve_table(problem, ways, room, left)
    from .search import Search  # noqa: PLC0415  search needs the values of this module

    best = _best(Search, problem, ways, room, left)
    promised = problem.promised_min
    if best is None or promised is None or best.elapsed_min <= promised:
        return best
    soonest = Search(problem, ways, room, left, soonest=True).run()
    if soonest is None or soonest.elapsed_min >= promised:
        return soonest and _late(soonest, promised)
    return Search(problem, ways, room, left, within=steps(promised)).run() or _late(soonest, promised)


def _best(search: type[Search], problem: Problem, ways: Network, room: int, left: Left | None) -> Solution | None:
    """The whole objective where it fits; else minutes and moves alone, late discovery as far as it was looked at."""
    whole = search(problem, ways, min(room, TIES), left).run()
    if whole is None or whole.proven:
        return whole
    sure = tuple(msgspec.structs.replace(task, fails=0.0) for task in problem.tasks)
    plain = search(msgspec.structs.replace(problem, tasks=sure), ways, room, left).run()
    if plain is None or whole.cost.active_min <= plain.bound_min:
        if plain is not None and plain.proven and whole.cost.moves == plain.cost.moves:
            return msgspec.structs.replace(whole, proven=True, ties=False, bound_min=plain.bound_min)
        return whole
    return msgspec.structs.replace(plain, ties=False)


def _late(solution: Solution, promised: float) -> Solution:
    late = max(0.0, solution.elapsed_min - promised)
    return msgspec.structs.replace(solution, cost=msgspec.structs.replace(solution.cost, late_min=late))


def cost_of(problem: Problem, network: Network, order: Sequence[int]) -> Solution | None:
    """The cheapest way through a given order; None when it breaks precedence, a wait, or a state cannot be reached."""
    rank = {task: n for n, task in enumerate(order)}
    if any(rank[a] > rank[b] for a, b in problem.before):
        return None
    from .search import Search  # noqa: PLC0415

    found = Search(problem, network, ROOM, order=tuple(order)).run()
    if found is None:
        return None
    found = msgspec.structs.replace(found, proven=False)
    return found if problem.promised_min is None else _late(found, problem.promised_min)


def weighed(weight: int, placed: tuple[Placed, ...], proven: bool, bound: int) -> Solution:
    """A solution from whole-number weights."""
    return Solution(placed, apart(weight), proven, apart(bound).active_min)


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
