"""The order is best: brute force to eight tasks; ways between states agree with networkx."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.plan.order import Problem, Task, cost_of, cycle_in, moved, solve
from asleft.plan.states import MOVES, WANTS, CarState, Network

NETWORK = Network()
STATES = st.sampled_from(NETWORK.states)


@st.composite
def problems(draw: st.DrawFn, most: int = 6) -> Problem:
    count = draw(st.integers(1, most))
    tasks = tuple(
        Task(str(n), WANTS[draw(st.sampled_from(sorted(WANTS)))], draw(st.integers(0, 30)), draw(st.integers(0, 90)))
        for n in range(count)
    )
    pairs = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1))
    before = draw(st.frozensets(pairs.filter(lambda p: p[0] < p[1]), max_size=count))
    shuffle = draw(st.permutations(range(count)))
    return Problem(tasks, draw(STATES), frozenset((shuffle[a], shuffle[b]) for a, b in before))


def brute(problem: Problem) -> tuple[float, float] | None:
    """The cheapest of all orders, by trying every one; distances are networkx's, no step of our search is used."""
    count = len(problem.tasks)
    serves = [np.array([s.meets(t.wants) for s in NETWORK.states]) for t in problem.tasks]
    own = [joined(t.active_min, t.elapsed_min) for t in problem.tasks]
    start = np.where([s == problem.start for s in NETWORK.states], 0.0, np.inf)

    def cheapest(done: frozenset[int], reach: np.ndarray) -> float:
        if len(done) == count:
            return float(reach.min())
        free = (t for t in range(count) if t not in done and all(a in done for a, b in problem.before if b == t))
        return min((cheapest(done | {t}, step(t, reach)) for t in free), default=float("inf"))

    def step(task: int, reach: np.ndarray) -> np.ndarray:
        arrived = (reach[:, None] + MATRIX).min(axis=0)
        return np.where(serves[task], arrived + own[task], np.inf)

    total = cheapest(frozenset(), start)
    return None if total == float("inf") else (total // BIG, total % BIG / 10)


BIG = 10_000_000.0


def joined(active: float, elapsed: float) -> float:
    """Both clocks in one number: active counts more than any elapsed."""
    return active * BIG + elapsed * 10


GRAPH = nx.DiGraph()
for _state, _end, _move in NETWORK.edges():
    _weight = joined(_move.active_min, _move.elapsed_min)
    if not GRAPH.has_edge(_state, _end) or GRAPH[_state][_end]["weight"] > _weight:
        GRAPH.add_edge(_state, _end, weight=_weight)
DISTANCE = dict(nx.all_pairs_dijkstra_path_length(GRAPH))
MATRIX = np.array([[DISTANCE[a].get(b, float("inf")) for b in NETWORK.states] for a in NETWORK.states])


@pytest.mark.parametrize("start", NETWORK.states[::7])
def test_shortest_ways_agree_with_networkx(start: CarState) -> None:
    routes = NETWORK.routes(start)
    assert {s: joined(r.active_min, r.elapsed_min) for s, r in routes.items()} == pytest.approx(DISTANCE[start])


@given(problem=problems())
@settings(max_examples=60, deadline=None)
def test_no_order_is_better(problem: Problem) -> None:
    found, best = solve(problem, NETWORK), brute(problem)
    assert (found is None) == (best is None)
    if found is not None and best is not None:
        assert found.proven
        assert found.cost == pytest.approx(best)


@pytest.mark.parametrize("seed", range(4))
def test_no_order_of_eight_is_better(seed: int) -> None:
    chance = Random(seed)
    names = sorted(WANTS)
    tasks = tuple(
        Task(str(n), WANTS[chance.choice(names)], chance.randint(1, 30), chance.randint(1, 60)) for n in range(8)
    )
    before = frozenset((a, b) for a in range(8) for b in range(a + 1, 8) if chance.random() < 0.3)
    problem = Problem(tasks, CarState(), before)
    found, best = solve(problem, NETWORK), brute(problem)
    assert found is not None
    assert best is not None
    assert found.cost == pytest.approx(best)


@given(problem=problems(most=8))
@settings(max_examples=40, deadline=None)
def test_the_order_is_allowed_and_its_cost_adds_up(problem: Problem) -> None:
    """An independent walk over the answer: precedence, states, minutes."""
    found = solve(problem, NETWORK)
    assert found is not None
    assert sorted(found.order) == list(range(len(problem.tasks)))
    place = {t: n for n, t in enumerate(found.order)}
    assert all(place[a] < place[b] for a, b in problem.before)
    state, active, elapsed = problem.start, 0.0, 0.0
    by_name = {m.name: m for m in MOVES}
    for placed in found.placed:
        for name in placed.route.moves:
            assert state.meets(by_name[name].begins)
            state = state.after(by_name[name].sets)
            active += by_name[name].active_min
            elapsed += by_name[name].elapsed_min
        task = problem.tasks[placed.task]
        assert state.meets(task.wants)
        active += task.active_min
        elapsed += task.elapsed_min
    assert (active, elapsed) == pytest.approx(found.cost)


@given(problem=problems(), data=st.data())
@settings(max_examples=40, deadline=None)
def test_moving_one_thing_never_gains(problem: Problem, data: st.DataObject) -> None:
    found = solve(problem, NETWORK)
    assert found is not None
    count = len(found.order)
    place, to = data.draw(st.integers(0, count - 1)), data.draw(st.integers(0, count - 1))
    other = cost_of(problem, NETWORK, tuple(moved(found.order, place, to)))
    assert other is None or other.cost >= found.cost


@given(
    st.integers(1, 7).flatmap(
        lambda n: st.tuples(
            st.just(n),
            st.frozensets(
                st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(lambda p: p[0] != p[1]), max_size=12
            ),
        )
    )
)
def test_cycles_are_found_when_networkx_finds_one(given_graph: tuple[int, frozenset[tuple[int, int]]]) -> None:
    count, pairs = given_graph
    graph = nx.DiGraph(list(pairs))
    cycle = cycle_in(count, pairs)
    assert bool(cycle) == (not nx.is_directed_acyclic_graph(graph))
    assert all(pair in pairs for pair in pairwise(cycle))


def test_when_room_runs_out_nothing_is_claimed() -> None:
    wants = ("warm-gearbox", "on-lift", "target-bay", "hv-safe", "road", "hot-outdoors")
    tasks = tuple(Task(name, WANTS[name], 1, 1) for name in wants)
    found = solve(Problem(tasks, CarState(), frozenset()), NETWORK, room=2)
    assert found is not None
    assert not found.proven
