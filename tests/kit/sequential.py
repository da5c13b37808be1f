"""Sequential ordering instances (TSPLIB95 format) as problems of the plan's own solver."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

from asleft.plan.order import Problem, Table, Task
from asleft.plan.states import CarState

#: Optima of the check values (section 7) that were proven there.
OPTIMA = {
    "ESC07": 2125,
    "ESC11": 2075,
    "ESC12": 1675,
    "br17.10": 55,
    "br17.12": 55,
    "ESC25": 1681,
    "ESC47": 1288,
    "ESC63": 62,
    "rbg048a": 351,
}


def read(path: Path) -> tuple[Problem, Table]:
    """Node 1 is the start; -1 in row j, column i: i comes before j."""
    numbers = path.read_text().split("EDGE_WEIGHT_SECTION")[1].replace("EOF", "").split()
    size = int(numbers[0])
    rows = [[int(n) for n in numbers[1 + r * size : 1 + (r + 1) * size]] for r in range(size)]
    tasks = tuple(Task(str(n + 1), {}, 0, 0) for n in range(1, size))
    before = frozenset((i - 1, j - 1) for j in range(1, size) for i in range(1, size) if rows[j][i] == -1)
    ways = tuple(tuple(_way(rows, a, b) for b in range(1, size)) for a in range(1, size))
    table = Table(tuple(_way(rows, 0, b) for b in range(1, size)), ways)
    return Problem(tasks, CarState(), before), table


def _way(rows: list[list[int]], a: int, b: int) -> float:
    forbidden = a == b or rows[a][b] == -1 or (a == 0 and b == len(rows) - 1)
    return math.inf if forbidden else float(rows[a][b])


def cost(path: Path, order: tuple[int, ...]) -> int:
    """Cost of an order of the tasks by the file alone; raises where a rule is broken."""
    numbers = path.read_text().split("EDGE_WEIGHT_SECTION")[1].replace("EOF", "").split()
    size = int(numbers[0])
    matrix = [[int(n) for n in numbers[1 + r * size : 1 + (r + 1) * size]] for r in range(size)]
    tour = [0, *(n + 1 for n in order)]
    assert sorted(tour) == list(range(size))
    for place, node in enumerate(tour):
        assert not any(matrix[node][later] == -1 for later in tour[place + 1 :])
    return sum(matrix[a][b] for a, b in pairwise(tour))
