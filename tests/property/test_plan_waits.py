"""Waits, expiry, promised times, what tasks leave: against a search over single moves that shares nothing with ours."""

from __future__ import annotations

import heapq
import math
from itertools import count
from random import Random

import pytest

from asleft.plan.order import BEGIN, Lag, Problem, Task, solve
from asleft.plan.states import MOVES, WANTS, CarState, Network
from kit.plan_check import check, parts

#: High voltage and targets left out, to keep the other search small.
NETWORK = Network(tuple(m for m in MOVES if "voltage" not in m.sets and m.sets.get("place") != "targets"))
STATES = ("koeo", "koeo-cold", "koeo-warm", "warm-idle", "on-lift", "level-floor", "road", "warm-gearbox", "parked")
Parts = tuple[float, ...]


def oracle(problem: Problem, limit: float, *, soonest: bool = False) -> Parts | None:
    """Uniform-cost search over single moves and tasks; a node is dropped when a cheaper one was there no later."""
    tick, full = count(), frozenset(range(len(problem.tasks)))
    queue: list[tuple[Parts, int, CarState, float, frozenset[int], tuple[tuple[int, float], ...]]] = []
    heapq.heappush(queue, ((0.0,) * 5, next(tick), problem.start, 0.0, frozenset(), ()))
    seen: dict[tuple[CarState, frozenset[int], tuple[tuple[int, float], ...]], float] = {}

    def push(cost: Parts, add: Parts, state: CarState, clock: float, done: frozenset[int], ends: object) -> None:
        total = tuple(a + b for a, b in zip(cost, add, strict=True))
        if clock <= limit + 1e-9:
            heapq.heappush(queue, (total, next(tick), state, clock, done, ends))  # type: ignore[arg-type]

    while queue:
        cost, _, state, clock, done, ends = heapq.heappop(queue)
        if done == full:
            return cost[1:]
        if clock >= seen.get((state, done, ends), math.inf):
            continue
        seen[state, done, ends] = clock
        chance = sum(t.fails for n, t in enumerate(problem.tasks) if n not in done)
        for move in NETWORK.moves:
            if state.meets(move.begins) and state.after(move.sets) != state:
                later = clock + move.elapsed_min
                first = move.elapsed_min if soonest else 0.0
                add = (first, move.active_min, float(move.counted), move.active_min * chance, move.elapsed_min)
                push(cost, add, state.after(move.sets), later, done, ends)
        known = dict(ends)
        for n, task in enumerate(problem.tasks):
            rules = [a for a, b in problem.before if b == n] + [g.before for g in problem.lags if g.after == n]
            if n in done or not state.meets(task.wants) or any(a not in done for a in rules if a != BEGIN):
                continue
            mine = [(known[g.before] if g.before != BEGIN else 0.0, g) for g in problem.lags if g.after == n]
            begin = max([clock, *(end + g.least_min for end, g in mine)])
            if any(begin > end + g.most_min for end, g in mine):
                continue
            end = begin + task.elapsed_min
            later_ends = tuple(sorted({**known, n: end}.items())) if any(g.before == n for g in problem.lags) else ends
            left = chance - task.fails
            first = end - clock if soonest else 0.0
            add = (first, task.active_min, 0.0, task.active_min * left, end - clock)
            push(cost, add, state.after(task.leaves), end, done | {n}, later_ends)
    return None


def drawn(chance: Random, size: int = 4) -> Problem:
    tasks = tuple(
        Task(
            str(n),
            WANTS[chance.choice(STATES)],
            chance.randint(1, 20),
            chance.randint(20, 40),
            leaves=chance.choice(({}, {}, {"engine": "off"}, {"heat": "cool"})),
            fails=chance.choice((0.0, 0.25)),
        )
        for n in range(size)
    )
    before = frozenset((a, b) for a in range(size) for b in range(a + 1, size) if chance.random() < 0.2)
    lags = [Lag(BEGIN, chance.randrange(size), least_min=chance.choice((0, 45, 90)))]
    if chance.random() < 0.7:
        a = chance.randrange(size - 1)
        lags.append(Lag(a, a + 1, chance.choice((0, 30)), chance.choice((60, 150, math.inf))))
    return Problem(tasks, CarState(), before, tuple(lags))


@pytest.mark.parametrize("seed", range(14))
def test_waits_and_expiry(seed: int) -> None:
    problem = drawn(Random(seed))
    found, best = solve(problem, NETWORK), oracle(problem, 1500)
    assert (found is None) == (best is None)
    if found is not None and best is not None:
        check(problem, found)
        assert found.proven
        assert parts(found) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(8))
def test_a_promised_time_comes_first(seed: int) -> None:
    chance = Random(seed)
    problem = drawn(chance)
    free = solve(problem, NETWORK)
    if free is None:
        pytest.skip("a wait of this draw cannot be kept")
    for promised in (free.elapsed_min - chance.choice((1, 5, 20)), free.elapsed_min / 2):
        hurried = Problem(problem.tasks, problem.start, problem.before, problem.lags, promised)
        found = solve(hurried, NETWORK)
        assert found is not None
        check(problem, found)
        best = oracle(problem, promised)
        if best is not None:
            assert found.cost.late_min == 0
            assert parts(found) == pytest.approx(best)
        else:
            soonest = oracle(problem, 1500, soonest=True)
            assert soonest is not None
            assert found.cost.late_min == pytest.approx(soonest[3] - promised)
            assert parts(found) == pytest.approx(soonest)


def test_curing_runs_beside_other_work() -> None:
    """45 min of curing, 30 min of other work meanwhile: 15 min are left to wait."""
    tasks = (Task("camera", WANTS["koeo"], 10, 10), Task("coding", WANTS["koeo"], 30, 30))
    found = solve(Problem(tasks, CarState(), frozenset(), (Lag(BEGIN, 0, 45),)), NETWORK)
    assert found is not None
    assert found.order == (1, 0)
    assert [p.wait_min for p in found.placed] == [0, 15]
    assert found.elapsed_min == 55


def test_what_expires_is_done_right_before() -> None:
    tasks = (Task("zero", WANTS["koeo"], 5, 5), Task("long", WANTS["koeo"], 60, 60), Task("use", WANTS["koeo"], 5, 5))
    found = solve(Problem(tasks, CarState(), frozenset(), (Lag(0, 2, 0, 10),)), NETWORK)
    assert found is not None
    assert abs(found.order.index(0) - found.order.index(2)) == 1


def test_likely_and_quick_failures_come_first() -> None:
    tasks = (
        Task("long", WANTS["koeo"], 60, 60, fails=0.1),
        Task("quick", WANTS["koeo"], 5, 5, fails=0.1),
        Task("sure", WANTS["koeo"], 1, 1),
    )
    found = solve(Problem(tasks, CarState(), frozenset()), NETWORK)
    assert found is not None
    assert found.order == (1, 0, 2)
    assert found.cost.discovery_min == pytest.approx(5 * 0.1)
