"""The exact order: time against the number of procedures, and what it saves against the given order and the habit.

Run: python benchmarks/plan_order.py [jobs]. Stated limits: 2 s for 25 procedures, typically 0.2 s.
Jobs are drawn by seed from the work items of the trigger table; their needs, required and advisable, are planned.
"""

from __future__ import annotations

import statistics
import sys
import time
from random import Random

from asleft.book.functions import FUNCTIONS
from asleft.model.errors import InputError
from asleft.model.work import Grade, Need
from asleft.plan.needs import needs
from asleft.plan.planned import Planned
from asleft.plan.planner import work_out
from asleft.plan.states import Network
from asleft.plan.work_items import WORK_ITEMS

NETWORK = Network()


def wanted(functions: list[str]) -> list[Need]:
    return [Need(f, FUNCTIONS[f].name, Grade.REQUIRED, ()) for f in functions]


def timed(functions: list[str]) -> tuple[float, Planned]:
    begin = time.perf_counter()
    planned = work_out(wanted(functions), network=NETWORK)
    return time.perf_counter() - begin, planned


def by_size(chance: Random) -> None:
    print("procedures  tasks  median s  worst s  proven  of limit")
    for count in (5, 10, 15, 20, 25, 35, 45, 53):
        runs = [timed(chance.sample(sorted(FUNCTIONS), count)) for _ in range(5)]
        seconds = [s for s, _ in runs]
        proven = sum(p.solution.proven for _, p in runs)
        limit = f"{max(seconds) / 2:7.0%}" if count <= 25 else "      –"
        tasks = len(runs[0][1].nodes)
        print(f"{count:10}  {tasks:5}  {statistics.median(seconds):8.3f}  {max(seconds):7.3f}  {proven}/5     {limit}")


def savings(chance: Random, jobs: int) -> None:
    given_saved, habit_saved, seconds, impossible = list[float](), list[float](), list[float](), 0
    for _ in range(jobs):
        items = chance.sample(WORK_ITEMS, chance.randint(1, 4))
        found = [n.function for n in needs(tuple(items)) if n.grade is not Grade.NOT_NEEDED]
        try:
            took, planned = timed(found)
        except InputError:
            continue
        seconds.append(took)
        best = planned.solution.active_min
        given, habit = planned.given(found), planned.habit()
        impossible += given is None
        if given is not None:
            given_saved.append(given.active_min - best)
        if habit is not None:
            habit_saved.append(habit.active_min - best)
    print(f"\n{len(seconds)} jobs: median {statistics.median(seconds) * 1e3:.1f} ms, worst {max(seconds) * 1e3:.0f} ms")
    print(f"given order breaks a hard rule in {impossible / len(seconds):.0%} of jobs")
    for name, saved in (("given order", given_saved), ("habit by phases", habit_saved)):
        quarters = statistics.quantiles(saved, n=20)
        print(
            f"active minutes saved against the {name}: mean {statistics.mean(saved):.1f}, median "
            f"{statistics.median(saved):.1f}, 95 % {quarters[18]:.0f}, most {max(saved):.0f}; "
            f"more than none in {sum(s > 0 for s in saved) / len(saved):.0%}"
        )


def main() -> None:
    by_size(Random(1))
    savings(Random(2), int(sys.argv[1]) if len(sys.argv) > 1 else 1000)


if __name__ == "__main__":
    main()
