"""A lower bound for orders with ways between the tasks: a linear programme with cuts. Pure.

Variables are arcs; every task is left once and entered once; for every task, a path leads to the end that avoids what
must come before it, and a path from the start that avoids what must come after it; for every pair a before b, a path
leads from a to b that avoids what comes before a or after b. Paths that are missing are found as minimum cuts, and each
cut becomes a row.

Source: E. Balas, M. Fischetti, W. R. Pulleyblank, "The precedence-constrained asymmetric traveling salesman polytope",
Mathematical Programming 68 (1995), 241–265.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import numpy as np
import numpy.typing as npt
from scipy import optimize
from scipy.sparse import csgraph, csr_array

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]
Left = Callable[[], float]

# the library's own types are incomplete
_optimize, _graph = cast(Any, optimize), cast(Any, csgraph)

_UNIT = 1_000_000
#: A path counts as there from this share on; rows further than _SLACK from binding are dropped.
_THERE, _SLACK = 0.98, 0.3
_STALL = 5
#: How the library says that there is no solution.
_NONE = 2


class Relaxation:
    """Bound, reduced costs of arcs, and what is known about them.

    Args:
        costs: [n, n], from 0 (start) to n - 1 (end); inf where there is no way. before: [a, b], transitively closed.
    Attributes:
        bound: no order costs less. base: bound of the linear programme alone.
        reduced: [n, n], what an arc adds to ``base`` at least; inf where there is none.
        whole: 0/1 arcs of the last integer solution, which may break rules; None before ``raise_bound``.
    """

    def __init__(self, costs: Floats, before: Bools) -> None:
        self.size = len(costs)
        self.before = before
        between = (before.astype(np.int64) @ before.astype(np.int64)) > 0
        self.allowed = np.isfinite(costs) & ~before.T & ~between & ~np.eye(self.size, dtype=np.bool_)
        self.tails, self.heads = np.nonzero(self.allowed)
        self.arc = np.full((self.size, self.size), -1)
        self.arc[self.tails, self.heads] = np.arange(len(self.tails))
        self.costs: Floats = costs[self.tails, self.heads]
        self.cuts: list[Ints] = []
        self._known: set[bytes] = set()
        self._degrees = self._degree_rows()
        self._asked = self._questions(before & ~between)
        self.bound = self.base = -np.inf
        self.reduced: Floats = np.full((self.size, self.size), np.inf)
        self.whole: Floats | None = None

    @property
    def feasible(self) -> bool:
        """Whether every task can be entered and left."""
        return bool(self.allowed[:-1].any(axis=1).all() and self.allowed[:, 1:].any(axis=0).all())

    def tighten(self, left: Left) -> None:
        """Rows are added until no path is missing, the bound stands still, or time is over."""
        stall = 0
        while True:
            flow, bound = self._solve()
            stall = stall + 1 if bound < self.base + 1e-6 * max(1.0, abs(bound)) else 0
            self.base = max(self.base, bound)
            self.bound = max(self.bound, self.base)
            missing = self.missing(flow)
            if not missing or stall > _STALL or left() <= 0:
                return
            if self.cuts:
                binding = cast(Bools, self._cut_rows() @ flow < 1 + _SLACK)
                self.cuts = [cut for cut, near in zip(self.cuts, binding, strict=True) if near]
            self.cuts += missing

    def raise_bound(self, most: float, left: Left) -> bool:
        """One integer solution of the rows, over arcs that can be in an order no dearer than ``most``.

        Returns: whether it is an order, and so the best one; else rows were added.
        """
        high = np.where(self.reduced[self.tails, self.heads] > most - self.base + 1e-6, 0.0, 1.0)
        rows = [_optimize.LinearConstraint(self._degrees, 1, 1)]
        if self.cuts:
            rows.append(_optimize.LinearConstraint(self._cut_rows(), 1, np.inf))
        options = {"time_limit": max(0.1, left()), "mip_rel_gap": 0.0}
        whole = np.ones(len(self.costs))
        limits = _optimize.Bounds(0, high)
        found = _optimize.milp(self.costs, constraints=rows, integrality=whole, bounds=limits, options=options)
        if found.status == _NONE:
            self.bound = max(self.bound, most)
        elif found.mip_dual_bound is not None and np.isfinite(found.mip_dual_bound):
            self.bound = max(self.bound, min(most, float(found.mip_dual_bound)))
        if found.x is None:
            return False
        self.whole = np.zeros((self.size, self.size))
        self.whole[self.tails, self.heads] = np.rint(found.x)
        missing = self.missing(np.rint(found.x))
        self.cuts += missing
        return not missing and found.status == 0

    def missing(self, flow: Floats) -> list[Ints]:
        """New rows for paths that are missing under a flow."""
        amounts = np.zeros((self.size, self.size), np.int32)
        amounts[self.tails, self.heads] = np.rint(flow * _UNIT)
        found: list[Ints] = []
        for start, end, avoid in self._asked:
            cut = self._cut(amounts, start, end, avoid)
            if cut is not None and cut.tobytes() not in self._known:
                self._known.add(cut.tobytes())
                found.append(cut)
        return found

    def _cut(self, amounts: npt.NDArray[np.int32], start: int, end: int, avoid: Bools) -> Ints | None:
        open_ = amounts.copy()
        open_[avoid] = 0
        open_[:, avoid] = 0
        flow = _graph.maximum_flow(csr_array(open_), start, end)
        if flow.flow_value >= _THERE * _UNIT:
            return None
        rest = csr_array((open_ - flow.flow.toarray() > 0).astype(np.int32))
        near = np.zeros(self.size, np.bool_)
        near[_graph.breadth_first_order(rest, start, return_predecessors=False)] = True
        across = (near & ~avoid)[:, None] & (~near & ~avoid)[None, :] & self.allowed
        return self.arc[across]

    def _questions(self, direct: Bools) -> list[tuple[int, int, Bools]]:
        last = self.size - 1
        asked = [(k, last, self.before[:, k]) for k in range(1, last)]
        asked += [(0, k, self.before[k]) for k in range(1, last)]
        inner = ((int(a), int(b)) for a, b in zip(*np.nonzero(direct), strict=True) if a > 0 and b < last)
        return asked + [(a, b, self.before[:, a] | self.before[b]) for a, b in inner]

    def _degree_rows(self) -> csr_array:
        arcs = np.arange(len(self.tails))
        rows = np.concatenate([self.tails, self.heads + self.size - 2])
        return csr_array((np.ones(2 * len(arcs)), (rows, np.tile(arcs, 2))), shape=(2 * self.size - 2, len(arcs)))

    def _cut_rows(self) -> csr_array:
        rows = np.repeat(np.arange(len(self.cuts)), [len(cut) for cut in self.cuts])
        columns = np.concatenate(self.cuts)
        return csr_array((np.ones(len(columns)), (rows, columns)), shape=(len(self.cuts), len(self.costs)))

    def _solve(self) -> tuple[Floats, float]:
        rows = cast(Any, -self._cut_rows() if self.cuts else None)
        least = -np.ones(len(self.cuts)) if self.cuts else None
        ones = np.ones(2 * self.size - 2)
        found = _optimize.linprog(self.costs, rows, least, self._degrees, ones, bounds=(0, 1), method="highs")
        if found.x is None:
            return np.zeros(len(self.costs)), np.inf
        if found.fun >= self.base - 1e-9:
            reduced = np.maximum(found.lower.marginals + found.upper.marginals, 0.0)
            self.reduced[self.tails, self.heads] = reduced
        return cast(Floats, found.x), float(found.fun)
