"""The exact order: time against the number of procedures, against other solvers, and what it saves.

Run: python benchmarks/plan_order.py [jobs] [seconds for instances, 0: none]. Stated limits: 2 s for 25 procedures,
typically 0.2 s.

Three things are measured side by side in one run:

1. seconds against the number of procedures, for procedures drawn by seed; the naive CP-SAT model beside it;
2. sequential ordering instances through the plan's own solver, the general model (CP-SAT, circuit, ranks) beside it;
3. minutes saved over seeded realistic jobs: one complaint or repair with what belongs to it, in the order a shop writes
   it down; against the order as written, the order by phases, and what a person does who takes the nearest next thing.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from pathlib import Path
from random import Random

from asleft.book.functions import FUNCTIONS
from asleft.model.errors import InputError
from asleft.model.work import Grade, Need, WorkItem
from asleft.plan.needs import find_needs
from asleft.plan.order import Problem, Table, Task, solve
from asleft.plan.planned import Planned
from asleft.plan.planner import Bounds, work_out
from asleft.plan.states import CarState, Network
from asleft.plan.work_items import WORK_ITEMS
from asleft.plan.work_rows import FITTINGS
from asleft.plan.workshop import INSIDE

NETWORK = Network()
CHECKS = Path(os.environ.get("ASLEFT_CHECKS", Path(__file__).parents[2] / "shared" / "checks"))

#: How often kinds of jobs come to an independent workshop, as weights, with what else is often done in the same visit.
#: Our own estimate, no source.
JOBS: tuple[tuple[int, tuple[str, ...], tuple[str, ...]], ...] = (
    (20, ("oil-service",), ("battery-replaced", "front-brakes", "tyres-replaced")),
    (10, ("battery-replaced",), ()),
    (8, ("throttle-removed-refitted",), ("battery-disconnected", "ignition-parts")),
    (5, ("throttle-replaced",), ("battery-disconnected",)),
    (10, ("rear-pads-parking-brake",), ("brake-fluid", "front-brakes", "tyres-replaced")),
    (8, ("suspension", "wheel-alignment"), ("tyres-replaced",)),
    (5, ("steering-rack", "wheel-alignment"), ("battery-disconnected",)),
    (6, ("windscreen",), ()),
    (4, ("front-bumper",), ("headlamp", "wheel-alignment")),
    (4, ("collision",), ("suspension", "windscreen", "headlamp")),
    (3, ("engine-module-replaced",), ("battery-disconnected",)),
    (3, ("hydraulic-unit",), ("brake-fluid", "wheel-alignment")),
    (4, ("gearbox-parts",), ("battery-disconnected",)),
    (3, ("clutch",), ()),
    (4, ("timing-drive",), ("battery-disconnected", "oil-service")),
    (3, ("engine-rebuilt",), ("battery-disconnected", "oil-service", "wheel-alignment")),
    (4, ("diesel-injectors",), ("oil-service",)),
    (3, ("particulate-filter",), ("dp-sensor", "oil-service")),
)


def wanted(functions: list[str]) -> list[Need]:
    return [Need(f, FUNCTIONS[f].name, Grade.REQUIRED, ()) for f in functions]


def timed(functions: list[str], bounds: Bounds | None = None) -> tuple[float, Planned]:
    begin = time.perf_counter()
    planned = work_out(wanted(functions), network=NETWORK, bounds=bounds)
    return time.perf_counter() - begin, planned


def by_size(chance: Random) -> None:
    print("procedures  tasks  median s  worst s  proven  of limit   naive CP-SAT s, proven")
    for count in (5, 10, 15, 20, 25, 35, 45, 53, 60):
        runs = [timed_or_more(chance, count) for _ in range(5)]
        seconds = [s for s, _, _ in runs]
        proven = sum(p for _, _, p in runs)
        limit = f"{max(seconds) / 2:7.0%}" if count <= 25 else "      –"
        naive = naive_words(chance, count) if count <= 15 else "–"
        tasks, median = runs[0][1], statistics.median(seconds)
        print(
            f"{count:10}  {tasks:5}  {median:8.3f}  {max(seconds):7.3f}  {proven}/5     {limit}   {naive}", flush=True
        )


def timed_or_more(chance: Random, count: int) -> tuple[float, int, bool]:
    """Seconds, tasks, proven; beyond the catalogue, further tasks of the same states are made up."""
    planned = work_out(wanted(chance.sample(sorted(FUNCTIONS), min(count, 53))), network=NETWORK)
    problem = planned.problem
    more = tuple(
        Task(f"more-{n}", chance.choice(problem.tasks[:-3]).wants, chance.randint(2, 30), 30, {}, 0.05)
        for n in range(count - 53)
    )
    problem = Problem((*problem.tasks, *more), problem.start, problem.before)
    begin = time.perf_counter()
    found = solve(problem, NETWORK, left=lambda: 10 - (time.perf_counter() - begin))
    return time.perf_counter() - begin, len(problem.tasks), found is not None and found.proven


def naive_words(chance: Random, count: int) -> str:
    planned = work_out(wanted(chance.sample(sorted(FUNCTIONS), count)), network=NETWORK)
    begin = time.perf_counter()
    best, proven = naive_states(planned.problem, 20.0)
    agrees = "agrees" if best == planned.solution.active_min else f"{best} for {planned.solution.active_min}"
    return f"{time.perf_counter() - begin:.1f}, {'yes' if proven else 'no'}, {agrees}"


def naive_states(problem: Problem, seconds: float) -> tuple[float, bool]:
    """What anybody would write first: a state and a task for each place, a table of ways; active minutes only."""
    from ortools.sat.python import cp_model  # noqa: PLC0415

    model, count = cp_model.CpModel(), len(problem.tasks)
    places = [model.new_int_var(0, count - 1, "") for _ in range(count)]
    model.add_all_different(places)
    for a, b in problem.before:
        model.add(places[a] < places[b])
    reach = [
        (a, b, round(2 * way[0]))
        for a in range(len(NETWORK.states))
        for b in range(len(NETWORK.states))
        if (way := NETWORK.distance(a, b)) is not None
    ]
    at = [model.new_int_var(0, len(NETWORK.states) - 1, "") for _ in range(count)]
    costs = [model.new_int_var(0, 10_000, "") for _ in range(count)]
    last = model.new_constant(NETWORK.index[problem.start])
    for place in range(count):
        model.add_allowed_assignments([last, at[place], costs[place]], reach)
        last = at[place]
        for task, wants in enumerate(problem.tasks):
            here = model.new_bool_var("")
            model.add(places[task] == place).only_enforce_if(here)
            model.add(places[task] != place).only_enforce_if(~here)
            serving = cp_model.Domain.from_values(sorted(NETWORK.serving(wants.wants)))
            model.add_linear_expression_in_domain(at[place], serving).only_enforce_if(here)
    model.minimize(sum(costs))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, 2
    status = solver.solve(model)
    own = sum(task.active_min for task in problem.tasks)
    return solver.objective_value / 2 + own if status in {2, 4} else float("nan"), status == cp_model.OPTIMAL


def circuit(table: Table, problem: Problem, seconds: float) -> tuple[float, float]:
    """The general model: a circuit with ranks. Returns cost and bound."""
    from ortools.sat.python import cp_model  # noqa: PLC0415

    model, count = cp_model.CpModel(), len(problem.tasks)
    rank = [model.new_int_var(0, count - 1, "") for _ in range(count)]
    for a, b in problem.before:
        model.add(rank[a] < rank[b])
    arcs, costs = [], []
    for b in range(count):
        for a in range(-1, count):
            way = table.first[b] if a < 0 else table.between[a][b]
            if a == b or way == float("inf"):
                continue
            used = model.new_bool_var("")
            arcs.append((a + 1, b + 1, used))
            costs.append(int(way) * used)
            if a >= 0:
                model.add(rank[b] == rank[a] + 1).only_enforce_if(used)
        arcs.append((b + 1, 0, model.new_bool_var("")))
    model.add_circuit(arcs)
    model.minimize(sum(costs))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, 2
    status = solver.solve(model)
    return (solver.objective_value if status in {2, 4} else float("nan")), solver.best_objective_bound


def instances(seconds: float) -> None:
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from kit.sequential import OPTIMA, read  # noqa: PLC0415

    print("\ninstance   optimum   ours: cost, bound, s         circuit with ranks: cost, bound, s")
    for name in (*OPTIMA, "p43.4"):
        path = CHECKS / "sop" / f"{name}.sop"
        if not path.is_file():
            print(f"{name}: not among the check data")
            continue
        problem, table = read(path)
        begin = time.perf_counter()
        ours = solve(problem, table, left=lambda begin=begin: seconds - (time.perf_counter() - begin))
        took = time.perf_counter() - begin
        begin = time.perf_counter()
        cost, bound = circuit(table, problem, seconds)
        theirs = time.perf_counter() - begin
        mine = f"{ours.active_min:g}, {ours.bound_min:g}, {took:.1f}" if ours else "none"
        print(f"{name:9} {OPTIMA.get(name, 83005):8}   {mine:28} {cost:g}, {bound:g}, {theirs:.1f}", flush=True)


def realistic(chance: Random) -> list[str]:
    known = {item.id for item in WORK_ITEMS}
    _, always, often = chance.choices(JOBS, weights=[w for w, _, _ in JOBS])[0]
    extra = [item for item in often if chance.random() < 0.35]
    return [item for item in (*always, *extra) if item in known]


def nearest(planned: Planned) -> float | None:
    """What a person does who always takes the next thing that is quickest to begin, hard rules kept."""
    order: list[int] = []
    problem = planned.problem
    need = {n: {r.before for r in planned.rules if r.hard and r.after == n} for n in range(len(planned.nodes))}
    state = problem.start
    while len(order) < len(problem.tasks):
        free = [n for n in need if n not in order and need[n] <= set(order)]
        ways = {n: NETWORK.cost(state, problem.tasks[n].wants) for n in free}
        task = min((n for n in free if ways[n] is not None), key=lambda n: (ways[n].active_min, n), default=None)  # type: ignore[union-attr]
        if task is None:
            return None
        order.append(task)
        state = ways[task].end  # type: ignore[union-attr]
    found = planned.free_cost(order)
    return None if found is None else found.active_min


def item_by_item(work: list[str], functions: list[str]) -> float:
    """Each repair finished with a clear and a drive of its own before the next is begun; handed over once."""
    state, total, last, left = CarState(), 0.0, 0.0, list(functions)
    for item in work:
        found = find_needs((WorkItem(item, item),))
        mine = [n.function for n in found.needs if n.function in left]
        if item == work[-1]:
            mine = left
        left = [f for f in left if f not in mine]
        inside = tuple(p for p in found.points if p in INSIDE)
        planned = work_out(wanted(mine), network=NETWORK, start=state, bounds=Bounds(inside=inside, waits=found.points))
        last = sum(node.task.active_min for node in planned.nodes[-2:])
        total += planned.solution.active_min - last
        state = planned.solution.placed[-1].route.end
    return total + last


def savings(chance: Random, jobs: int) -> None:
    saved: dict[str, list[float]] = {
        "order as written": [],
        "order by phases": [],
        "nearest next thing": [],
        "one work item after the other": [],
    }
    clock: list[float] = []
    seconds, sizes, impossible = list[float](), list[int](), 0
    for _ in range(jobs):
        work = realistic(chance)
        found = find_needs(tuple(WorkItem(w, w) for w in work), fitted=fitted(chance))
        functions = [n.function for n in found.needs if n.grade is Grade.REQUIRED]
        functions += [n.function for n in found.needs if n.grade is Grade.ADVISABLE and chance.random() < 0.5]
        inside = tuple(p for p in found.points if p in INSIDE)
        try:
            took, planned = timed(functions, Bounds(inside=inside, waits=found.points))
        except InputError:
            continue
        seconds.append(took)
        sizes.append(len(planned.nodes))
        best = planned.solution
        given, habit, near = planned.given(functions), planned.habit(), nearest(planned)
        impossible += given is None
        for name, other in (("order as written", given), ("order by phases", habit)):
            if other is not None:
                saved[name].append(other.active_min - best.active_min)
        if len(work) > 1:
            saved["one work item after the other"].append(item_by_item(work, functions) - best.active_min)
        if near is not None:
            saved["nearest next thing"].append(near - best.active_min)
        if habit is not None:
            clock.append(habit.elapsed_min - best.elapsed_min)
    print(
        f"\n{len(seconds)} jobs of {statistics.mean(sizes):.1f} tasks: median {statistics.median(seconds):.4f} s",
        end="",
    )
    print(f", worst {max(seconds):.3f} s; the order as written breaks a hard rule in {impossible / len(seconds):.0%}")
    for name, minutes in saved.items():
        spread("active minutes saved against the " + name, minutes)
    spread("calendar minutes saved against the order by phases", clock)


def fitted(chance: Random) -> dict[str, bool]:
    return {slug: chance.random() < 0.6 for slug in FITTINGS}


def spread(name: str, minutes: list[float]) -> None:
    parts = statistics.quantiles(minutes, n=20)
    shown = ", ".join(f"{q} % {parts[q // 5 - 1]:.0f}" for q in (25, 50, 75, 90, 95))
    more = sum(m > 0 for m in minutes) / len(minutes)
    print(
        f"{name}: mean {statistics.mean(minutes):.1f}, {shown}, most {max(minutes):.0f}; more than none in {more:.0%}"
    )


def main() -> None:
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 40.0
    by_size(Random(1))
    if jobs:
        savings(Random(2), jobs)
    if seconds:
        instances(seconds)


if __name__ == "__main__":
    main()
