"""What an order is asked for: tasks, what comes before what, waits, ways; and what is answered. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import msgspec

from .states import CarState, Route, Sides
from .weights import Costs, apart

#: Partial orders held at once; beyond it the search keeps the cheapest only and proves nothing.
ROOM = 200_000

#: Partial orders held while orders alike in minutes and moves are sorted by late discovery.
TIES = 60
#: The same for a job of few tasks, where it costs little.
TIES_FEW, FEW = 4000, 13

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


def weighed(weight: int, placed: tuple[Placed, ...], proven: bool, bound: int) -> Solution:
    """A solution from whole-number weights."""
    return Solution(placed, apart(weight), proven, apart(bound).active_min)
