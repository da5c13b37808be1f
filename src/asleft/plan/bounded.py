"""The best order where ways lead between the tasks themselves: a bound from a relaxation, orders, and a narrow search.

1. A relaxation gives a bound, and for each arc what it adds to the bound at least.
2. A narrow search along arcs that add little gives an order; exchanging blocks betters it.
3. The search over *what is done, which task was last* keeps every partial order whose arcs add no more than is left
   between the bound and the best known order. Nothing found: the best known one is proven.
4. Where that does not fit, integer solutions of the relaxation raise the bound and show where to look for orders.

Pure. Source: M. Held, R. M. Karp (1962) for the search; reduced-cost bounds are textbook linear programming duality.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from random import Random
from typing import NamedTuple

import msgspec
import numpy as np
import numpy.typing as npt

from .exchange import cost, improved, kicked
from .problem import Left, Placed, Problem, Solution, Table
from .relaxed import Relaxation
from .states import CarState, Route
from .weights import Costs

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Partial orders a level: for orders at once, and before the search is given up for integer solutions.
_WIDTHS = (100, 300)
_PROOF_ROOM = 20_000
#: Random exchanges of blocks after each integer solution.
_KICKS = 4
#: Share of the gap in which integer solutions are looked for first; fewer arcs can be in them.
_NEARER = 8
#: Arcs from each task looked at for an order at once.
_ARCS = 12
#: Integer solutions, and after how many of them the linear programme is worked out anew.
_ROUNDS, _ANEW = 400, 8


class _Label(NamedTuple):
    cost: float
    added: float
    task: int
    before: _Label | None


class _Arc(NamedTuple):
    head: int
    cost: float
    adds: float


_Level = dict[tuple[int, int], _Label]


def solve_table(problem: Problem, table: Table, room: int, left: Left | None = None) -> Solution | None:
    """The best order, with its bound; see ``order.solve``. Waits and promised times are not for tables.

    Raises: ValueError: the problem has waits or a promised time.
    """
    if problem.lags or problem.promised_min is not None:
        raise ValueError("waits and a promised time need car states, not a table")
    costs, before = _with_ends(problem, table)
    if np.diagonal(before).any():
        return None
    search = Bounded(costs, before, min(room, _PROOF_ROOM), left or _forever)
    if not search.relaxation.feasible:
        return None
    order = search.run()
    return None if order is None else _solution(problem, order, costs, search)


def _forever() -> float:
    return math.inf


class Bounded:
    """One table worked through; ``best`` is the best order known, ``bound`` no order is below.

    Args: costs, before: with a start and an end of no cost; ``before`` closed. room: partial orders a level.
    """

    def __init__(self, costs: Floats, before: Bools, room: int, left: Left) -> None:
        self.costs, self.before, self.room, self.left = costs, before, room, left
        self.relaxation = Relaxation(costs, before)
        self.size = len(costs)
        self.need = [sum(1 << int(a) for a in np.flatnonzero(before[:, b])) for b in range(self.size)]
        finite = costs[np.isfinite(costs)]
        self.step = 1.0 if bool((finite == np.rint(finite)).all()) else 1e-6
        self.best: list[int] | None = None
        self.best_cost = math.inf

    @property
    def bound(self) -> float:
        """No order costs less; whole where all costs are whole."""
        bound = self.relaxation.bound
        return math.ceil(bound - 1e-6) if self.step == 1.0 and math.isfinite(bound) else bound

    @property
    def proven(self) -> bool:
        """Whether the best known order is best."""
        return self.best_cost < self.bound + self.step * 0.99

    def run(self) -> list[int] | None:
        """The best order, with start and end; None when there is none."""
        self.relaxation.tighten(self.left)
        chance = Random(1)  # noqa: S311  repeatable, nothing secret
        for width in _WIDTHS:
            if not self.proven and self.left() > 0:
                self._offer(self._search(math.inf, width, self.relaxation.reduced)[0])
        if self.best is None:
            self._offer(self._any())
        if self.best is not None:
            self._deepen()
            self._raise(chance)
        return self.best

    def _kick(self, chance: Random, kicks: int) -> None:
        for _ in range(kicks):
            if self.best is None or self.proven or self.left() <= 0:
                return
            self._offer(kicked(self.best, self.before, chance))

    def _any(self) -> list[int]:
        """An order that keeps the rules, whatever it costs."""
        order, done = [0], 1
        while len(order) < self.size:
            free = [n for n in range(self.size) if not done >> n & 1 and not self.need[n] & ~done]
            order.append(min(free, key=lambda n: self.costs[order[-1], n]))
            done |= 1 << order[-1]
        return order

    def _offer(self, order: list[int] | None) -> None:
        if order is None:
            return
        order = improved(order, self.costs, self.before)
        if cost(order, self.costs) <= self.best_cost:
            self.best, self.best_cost = order, cost(order, self.costs)

    def _deepen(self) -> None:
        """Search as far from the bound as fits; each pass that fits raises the bound."""
        lowest = self.relaxation.base
        reach = (self.best_cost - lowest) / 16
        while not self.proven and self.left() > 0:
            reach = min(reach, self.best_cost - self.step * 0.5 - lowest)
            found, whole = self._search(reach + 1e-7, self.room, self.relaxation.reduced, all_or_none=True)
            if not whole:
                return
            if found is not None and cost(found, self.costs) < self.best_cost:
                self.best, self.best_cost = found, cost(found, self.costs)
            self.relaxation.bound = max(self.relaxation.bound, min(self.best_cost, lowest + reach))
            if reach >= self.best_cost - self.step * 0.5 - lowest:
                self.relaxation.bound = max(self.relaxation.bound, self.best_cost)
            reach *= 2

    def _raise(self, chance: Random) -> None:
        for round_ in range(_ROUNDS):
            if self.proven or self.left() <= 0:
                return
            if round_ % _ANEW == _ANEW - 1:
                self.relaxation.tighten(self.left)
                self._deepen()
            most = min(self.best_cost, self.bound + (self.best_cost - self.bound) / _NEARER + self.step)
            if self.relaxation.raise_bound(most, self.left):
                self._offer(self._whole_order())
            else:
                self._offer(self._search(math.inf, _WIDTHS[0], self._near_whole())[0])
                self._kick(chance, _KICKS)

    def _whole_order(self) -> list[int] | None:
        """The order that the integer solution is."""
        whole, order = self.relaxation.whole, [0]
        while whole is not None and order[-1] != self.size - 1:
            order.append(int(whole[order[-1]].argmax()))
        return order if len(order) == self.size else None

    def _near_whole(self) -> Floats:
        """What an arc adds, more where the last integer solution does not have it."""
        whole = self.relaxation.whole
        away = max(1.0, self.best_cost - self.relaxation.bound)
        return self.relaxation.reduced if whole is None else self.relaxation.reduced + np.where(whole > 0, 0.0, away)

    def _arcs(self, reach: float, adds: Floats) -> list[list[_Arc]]:
        keep = self.relaxation.allowed & (adds <= reach)
        if math.isinf(reach):
            keep &= adds <= np.sort(adds, axis=1)[:, [min(_ARCS, self.size - 1)]]
        return [
            [_Arc(int(b), float(self.costs[a, b]), float(adds[a, b])) for b in np.flatnonzero(keep[a])]
            for a in range(self.size)
        ]

    def _search(
        self, reach: float, width: int, adds: Floats, *, all_or_none: bool = False
    ) -> tuple[list[int] | None, bool]:
        """The cheapest order whose arcs add no more than ``reach``, and whether nothing was left out for width."""
        arcs = self._arcs(reach, adds)
        level: _Level = {(1, 0): _Label(0.0, 0.0, 0, None)}
        whole = True
        for _ in range(self.size - 1):
            level = self._expanded(level, arcs, reach)
            if len(level) > width:
                whole = False
                if all_or_none:
                    return None, False
                ranked = sorted(level.items(), key=lambda item: (item[1].added, item[0]))
                level = dict(ranked[:width])
        last = min(level.values(), key=lambda label: label.cost, default=None)
        return (None if last is None else list(_back(last))[::-1]), whole

    def _expanded(self, level: _Level, arcs: list[list[_Arc]], reach: float) -> _Level:
        following: _Level = {}
        need = self.need
        for (done, task), label in level.items():
            for head, way, adds in arcs[task]:
                added = label.added + adds
                if added > reach or done >> head & 1 or need[head] & ~done:
                    continue
                key, total = (done | 1 << head, head), label.cost + way
                known = following.get(key)
                if known is None or total < known.cost:
                    following[key] = _Label(total, added, head, label)
        return following


def _back(label: _Label) -> Iterator[int]:
    at: _Label | None = label
    while at is not None:
        yield at.task
        at = at.before


def _with_ends(problem: Problem, table: Table) -> tuple[Floats, Bools]:
    """Costs and rules with a start before all tasks and an end after them; own minutes are added on the way in."""
    count = len(problem.tasks)
    costs = np.full((count + 2, count + 2), np.inf)
    own = np.array([task.active_min for task in problem.tasks])
    costs[0, 1:-1] = np.array(table.first) + own
    costs[1:-1, 1:-1] = np.array(table.between).reshape(count, count) + own[None, :]
    costs[1:-1, -1] = 0.0
    before = np.zeros((count + 2, count + 2), np.bool_)
    for a, b in problem.before:
        before[a + 1, b + 1] = True
    before[0, 1:] = True
    before[:-1, -1] = True
    for k in range(count + 2):
        before |= np.outer(before[:, k], before[k])
    return costs, before


def _solution(problem: Problem, order: list[int], costs: Floats, search: Bounded) -> Solution | None:
    if not math.isfinite(search.best_cost):
        return None
    placed: list[Placed] = []
    for last, here in pairwise(order[:-1]):
        way = float(costs[last, here]) - problem.tasks[here - 1].active_min
        placed.append(Placed(here - 1, Route(CarState(), way, way, ())))
    total = search.best_cost
    elapsed = sum(task.elapsed_min - task.active_min for task in problem.tasks) + total
    found = Solution(tuple(placed), Costs(0.0, total, 0, 0.0, elapsed), search.proven)
    return msgspec.structs.replace(found, bound_min=total if search.proven else search.bound)
