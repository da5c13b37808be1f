"""The exact order: tasks, what comes before what, waits, and the best order under the stated objective. Pure.

A task wants a car state and takes minutes; some tasks must come before others; some must wait, or expire. Objective,
one after the other: lateness against the promised time, active minutes, drives and lift and floor moves, expected cost
of late discovery, calendar minutes (``weights``). ``solve`` takes ways between car states (a ``Network``: ``search``)
or ways between the tasks themselves (a ``Table``: ``bounded``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from .problem import BEGIN, FEW, ROOM, TIES, TIES_FEW, Lag, Left, Placed, Problem, Solution, Table, Task
from .search import Search
from .states import Network
from .weights import steps

__all__ = [
    "BEGIN",
    "ROOM",
    "Lag",
    "Left",
    "Placed",
    "Problem",
    "Solution",
    "Table",
    "Task",
    "cost_of",
    "cycle_in",
    "moved",
    "solve",
]


def solve(problem: Problem, ways: Network | Table, room: int = ROOM, left: Left | None = None) -> Solution | None:
    """The best order.

    Args: room: partial orders held at once. left: seconds left; when they run out, the best found with its bound.
    Returns: None when precedence has a cycle, a state cannot be reached, or a wait cannot be kept.
    """
    if isinstance(ways, Table):
        from .bounded import solve_table  # noqa: PLC0415  needs scipy.optimize, half a second to import

        return solve_table(problem, ways, room, left)
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
    ties = TIES_FEW if len(problem.tasks) <= FEW else TIES
    whole = search(problem, ways, min(room, ties), left).run()
    if whole is None or whole.proven:
        return whole
    sure = tuple(msgspec.structs.replace(task, fails=0.0) for task in problem.tasks)
    plain = search(msgspec.structs.replace(problem, tasks=sure), ways, room, left).run()
    if plain is None or whole.cost.active_min <= plain.bound_min:
        if plain is not None and plain.proven and whole.cost.moves == plain.cost.moves:
            return msgspec.structs.replace(whole, proven=True, ties=False, bound_min=plain.bound_min)
        return whole
    # the same order with the chances counted again
    priced = search(problem, ways, room, order=plain.order).run() or plain
    return msgspec.structs.replace(priced, proven=plain.proven, ties=False, bound_min=plain.bound_min)


def _late(solution: Solution, promised: float) -> Solution:
    late = max(0.0, solution.elapsed_min - promised)
    return msgspec.structs.replace(solution, cost=msgspec.structs.replace(solution.cost, late_min=late))


def cost_of(problem: Problem, network: Network, order: Sequence[int]) -> Solution | None:
    """The cheapest way through a given order; None when it breaks precedence, a wait, or a state cannot be reached."""
    rank = {task: n for n, task in enumerate(order)}
    if any(rank[a] > rank[b] for a, b in problem.before):
        return None
    found = Search(problem, network, ROOM, order=tuple(order)).run()
    if found is None:
        return None
    found = msgspec.structs.replace(found, proven=False)
    return found if problem.promised_min is None else _late(found, problem.promised_min)


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
