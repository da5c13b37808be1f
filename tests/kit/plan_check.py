"""An independent check of a plan: it walks the answer and shares no step with the search."""

from __future__ import annotations

import pytest

from asleft.plan.order import Problem, Solution
from asleft.plan.states import MOVES


def parts(found: Solution) -> tuple[float, ...]:
    return (found.cost.active_min, found.cost.moves, found.cost.discovery_min, found.cost.elapsed_min)


def check(problem: Problem, found: Solution) -> None:
    """An independent walk over the answer: precedence, states, what tasks leave, waits, expiry, minutes."""
    assert sorted(found.order) == list(range(len(problem.tasks)))
    place = {t: n for n, t in enumerate(found.order)}
    assert all(place[a] < place[b] for a, b in problem.before)
    state, active, clock, counted, late = problem.start, 0.0, 0.0, 0, 0.0
    begins, ends = dict[int, float](), {-1: 0.0}
    for n, placed in enumerate(found.placed):
        before, now = active, [problem.tasks[t] for t in found.order[n:]]
        for name in placed.route.moves:
            move = next(m for m in MOVES if m.name == name and state.meets(m.begins))
            state = state.after(move.sets)
            active, clock, counted = active + move.active_min, clock + move.elapsed_min, counted + move.counted
        late += (active - before) * sum(t.fails for t in now)
        task = problem.tasks[placed.task]
        assert state.meets(task.wants)
        clock += placed.wait_min
        begins[placed.task] = clock
        active, clock = active + task.active_min, clock + task.elapsed_min
        late += task.active_min * sum(t.fails for t in now[1:])
        ends[placed.task] = clock
        state = state.after(task.leaves)
    for lag in problem.lags:
        assert ends[lag.before] + lag.least_min <= begins[lag.after] + 1e-9
        assert begins[lag.after] <= ends[lag.before] + lag.most_min + 1e-9
    assert (active, counted, late, clock) == pytest.approx(parts(found))
