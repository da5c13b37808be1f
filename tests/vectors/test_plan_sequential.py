"""Sequential ordering instances of the outside through the plan's own solver, to their proven optima.

Source: TSPLIB95 (G. Reinelt, ORSA J. Computing 3 (1991), 376–384); optima as in the check values, section 7.
"""

from __future__ import annotations

from itertools import count
from pathlib import Path

import pytest

from asleft.plan.order import Solution, solve
from kit.sequential import OPTIMA, cost, read


def solved(checks: Path, name: str, turns: int = 1_000_000) -> tuple[Solution, int]:
    """Time is counted in turns, the same on every machine."""
    path = checks / "sop" / f"{name}.sop"
    if not path.is_file():
        pytest.skip(f"{path.name} is not among the check data")
    problem, table = read(path)
    turn = count()
    found = solve(problem, table, left=lambda: float(turns - next(turn)))
    assert found is not None
    return found, cost(path, found.order)


@pytest.mark.parametrize("name", list(OPTIMA))
def test_proven_optimum_is_reached_and_proven(checks: Path, name: str) -> None:
    found, paid = solved(checks, name)
    assert paid == found.active_min == OPTIMA[name]
    assert found.proven
    assert found.gap_min == 0


def test_when_time_runs_out_order_and_bound_are_honest(checks: Path) -> None:
    found, paid = solved(checks, "ft53.1", turns=5)
    assert paid == found.active_min >= 7531
    assert not found.proven
    assert found.bound_min <= 7531
    assert found.gap_min > 0


@pytest.mark.full
@pytest.mark.timeout(1800)
def test_the_hard_one_with_its_gap(checks: Path) -> None:
    """p43.4: 83005 is the optimum; an older published value, 82960, is refuted there and must stay so.

    Not met yet: after 150 turns, ten minutes and more, the order is the best one and the bound stands 408 below it.
    """
    found, paid = solved(checks, "p43.4", turns=150)
    assert paid == found.active_min == 83005
    assert found.bound_min <= 83005
    assert found.gap_min <= 100
