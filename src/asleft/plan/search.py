"""The search over what is done and where the car stands. Pure.

Facts that keep it small without losing the best order:

1. A task whose turn it may be, whose state the car is in, and which is as likely to fail a minute as anything left, is
   done at once: later it costs no less, since no way between two states is longer than by way of a third.
2. On the way to a task, the car stops at the first state that serves; what lies beyond is reached from there as well.
3. Of two ways to have done the same tasks, one is dropped when the other can follow it to its state, costs no more, is
   there no later, and has nothing that ripens later or expires sooner.
4. Tasks alike in state, rules and effects stand in the order of their chance of failure a minute (exchange argument).

Facts 1 and 4 hold without waits between tasks; with them they are not used. What is returned is proven best, unless
the search ran out of room or time; then the cheapest of what was dropped, with what it still had to do, is the bound.

Source: M. Held, R. M. Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962), 196–210, for
the search; W. E. Smith, "Various optimizers for single-stage production", Naval Research Logistics Quarterly 3 (1956),
59–66, for fact 4.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from .problem import BEGIN, Lag, Left, Placed, Problem, Solution, weighed
from .states import CarState, Network, Route
from .weights import CHANCES, STEPS, steps, weigh

#: Partial orders held when time has run out: enough to end with some order at once.
_NARROW = 200
_NEVER = 1 << 60


class _Label(NamedTuple):
    """Cheapest known way to have done some tasks and stand somewhere at some time."""

    cost: int
    clock: int
    ripe: tuple[int, ...]
    before: _Label | None
    task: int
    begun_in: int
    wait: int
    route: Route | None


class _Option(NamedTuple):
    """One way to do a task next: where it is begun, where the car is then, steps of the way."""

    task: int
    begun_in: int
    end: int
    active: int
    moves: int
    elapsed: int
    route: Route | None = None


_Key = tuple[int, int]
_Level = dict[_Key, list[_Label]]


class Search:
    """One problem worked through by the number of tasks done.

    Args:
        within: calendar limit in steps. soonest: the calendar counts before all else. order: the only order asked for.
    """

    def __init__(
        self,
        problem: Problem,
        network: Network,
        room: int,
        left: Left | None = None,
        *,
        within: int = _NEVER,
        soonest: bool = False,
        order: Sequence[int] = (),
    ) -> None:
        self.tasks, self.room, self.left = problem.tasks, room, left
        self.network = network.quickest() if soonest else network
        self.within, self.soonest = within, soonest
        self.all = (1 << len(problem.tasks)) - 1
        self.start = network.index[problem.start]
        self.active = [steps(t.active_min) for t in problem.tasks]
        self.elapsed = [steps(t.elapsed_min) for t in problem.tasks]
        self.fails = [round(t.fails * CHANCES) for t in problem.tasks]
        self._ratios = [_ratio(f, a) for f, a in zip(self.fails, self.active, strict=True)]
        self.need = problem.predecessors()
        self._by_ratio = sorted(range(len(self.fails)), key=lambda n: -self._ratios[n])
        self.after_begin = [_ripe_after_begin(n, problem.lags) for n in range(len(problem.tasks))]
        self.lags = tuple(lag for lag in problem.lags if lag.before != BEGIN)
        expires = any(lag.most_min < math.inf for lag in problem.lags)
        waits = any(ripe > 0 for ripe, _ in self.after_begin)
        self.hurried = within < _NEVER or expires
        self.timed = self.hurried or bool(self.lags) or waits
        self.at_once = not (self.lags or expires)
        self.serves = [network.serving(t.wants) for t in problem.tasks]
        self._options: dict[int, list[list[_Option]]] = {}
        self._chances: dict[int, int] = {}
        if order:
            for a, b in pairwise(order):
                self.need[b] |= 1 << a
        elif self.at_once and not (waits and (soonest or within < _NEVER)):
            self._chain()
        self.proven = True
        self.bound = _NEVER << 140

    def run(self) -> Solution | None:
        """The best order; None when there is none."""
        nothing = _Label(0, 0, (-_NEVER,) * len(self.lags), None, -1, self.start, 0, None)
        level: _Level = {(0, self.start): [nothing]}
        for _ in self.tasks:
            following: _Level = {}
            for key, labels in level.items():
                for label in labels:
                    for to, new in self._next(key, label):
                        _keep(following.setdefault(to, []), new, self.timed)
            level = self._room(self._undominated(following))
        last = [(label.cost, label) for labels in level.values() for label in labels]
        if not last:
            return None
        cost, label = min(last, key=lambda pair: pair[0])
        return weighed(self._plain(cost), tuple(self._trace(label)), self.proven, self._bound(cost))

    def _bound(self, cost: int) -> int:
        return self._plain(min(cost, self.bound)) if not self.soonest or self.proven else 0

    def _weigh(self, active: int, moves: int, elapsed: int, chance: int) -> int:
        weight = weigh(active, moves, elapsed, chance)
        return weight + (elapsed << 180) if self.soonest else weight

    def _plain(self, cost: int) -> int:
        return cost & ((1 << 180) - 1) if self.soonest else cost

    def _chance(self, done: int) -> int:
        if done not in self._chances:
            self._chances[done] = sum(f for n, f in enumerate(self.fails) if not done >> n & 1)
        return self._chances[done]

    def _next(self, key: _Key, label: _Label) -> Iterator[tuple[_Key, _Label]]:
        done, state = key
        free = [n for n, need in enumerate(self.need) if not done >> n & 1 and not need & ~done]
        chance = self._chance(done)
        options = self._from(state)
        at_once = self._now(done, state, free) if self.at_once else None
        for task in free if at_once is None else (at_once,):
            for option in options[task]:
                new = self._done(label, option, chance)
                if new is not None:
                    yield (done | 1 << task, option.end), new

    def _now(self, done: int, state: int, free: Sequence[int]) -> int | None:
        """A task that may as well be done here and now; None when there is none."""
        here = [n for n in free if state in self.serves[n] and not self.tasks[n].leaves]
        if not here:
            return None
        best = max(here, key=self._ratios.__getitem__)
        if self.after_begin[best] != (0, _NEVER):
            return None
        likeliest = next(n for n in self._by_ratio if not done >> n & 1)
        return best if self._ratios[best] >= self._ratios[likeliest] else None

    def _done(self, label: _Label, option: _Option, chance: int) -> _Label | None:
        """The label after one more task; None when something has expired or the time is over."""
        task = option.task
        ripe, expires = self.after_begin[task]
        for lag, end in zip(self.lags, label.ripe, strict=True):
            if lag.after == task:
                ripe = max(ripe, end + steps(lag.least_min))
                expires = min(expires, end + steps(lag.most_min) if lag.most_min < math.inf else _NEVER)
        arrived = label.clock + option.elapsed
        begin = max(arrived, ripe)
        end = begin + self.elapsed[task]
        if begin > expires or end > self.within:
            return None
        ends = label.ripe
        if self.lags:
            ends = tuple(
                end if lag.before == task else -_NEVER if lag.after == task else known
                for lag, known in zip(self.lags, label.ripe, strict=True)
            )
        cost = label.cost + self._weigh(option.active, option.moves, begin - label.clock, chance)
        cost += self._weigh(self.active[task], 0, self.elapsed[task], chance - self.fails[task])
        return _Label(cost, end, ends, label, task, option.begun_in, begin - arrived, option.route)

    def _from(self, state: int) -> list[list[_Option]]:
        """Ways to do each task next from a state."""
        if state not in self._options:
            self._options[state] = [list(self._ways(state, n)) for n in range(len(self.tasks))]
        return self._options[state]

    def _ways(self, state: int, task: int) -> Iterator[_Option]:
        leaves = self.tasks[task].leaves
        if self.hurried:
            yield from self._hurried(state, task)
            return
        stops = self.network.first_stops(state, self.serves[task], every=bool(leaves))
        for begun_in, (active, moves, elapsed) in stops.items():
            end = self.network.index[self.network.states[begun_in].after(leaves)] if leaves else begun_in
            yield _Option(task, begun_in, end, steps(active), int(moves), steps(elapsed))

    def _hurried(self, state: int, task: int) -> Iterator[_Option]:
        """Where the calendar binds, a way that costs more but is quicker counts as well."""
        for route in self.network.choices(self.network.states[state], self.tasks[task].wants):
            begun_in = self.network.index[route.end]
            end = self.network.index[route.end.after(self.tasks[task].leaves)]
            active, elapsed = steps(route.active_min), steps(route.elapsed_min)
            yield _Option(task, begun_in, end, active, route.counted, elapsed, route)

    def _undominated(self, level: _Level) -> _Level:
        by_done: dict[int, list[tuple[int, int, _Label]]] = {}
        for (done, state), labels in level.items():
            by_done.setdefault(done, []).extend((label.cost, state, label) for label in labels)
        kept: _Level = {}
        for done, group in by_done.items():
            chance = self._chance(done)
            stay: list[tuple[int, _Label]] = []
            for _, state, label in sorted(group, key=lambda entry: entry[:2]):
                if not any(self._follows(s, other, state, label, chance) for s, other in stay):
                    stay.append((state, label))
                    kept.setdefault((done, state), []).append(label)
        return kept

    def _follows(self, state: int, label: _Label, to: int, other: _Label, chance: int) -> bool:
        """Whether a label can follow another to its state at no disadvantage."""
        way = self.network.distance(state, to)
        if way is None:
            return False
        active, moves, elapsed = steps(way[0]), int(way[1]), steps(way[2])
        if label.cost + self._weigh(active, moves, elapsed, chance) > other.cost:
            return False
        return not self.timed or (label.clock + elapsed <= other.clock and self._riper(label.ripe, other.ripe))

    def _riper(self, ends: Iterable[int], others: Iterable[int]) -> bool:
        """Nothing of the first is later to ripen, nothing sooner to expire."""
        for lag, a, b in zip(self.lags, ends, others, strict=True):
            if (lag.least_min > 0 and a > b) or (lag.most_min < math.inf and a < b):
                return False
        return True

    def _room(self, level: _Level) -> _Level:
        room = self.room if self.left is None or self.left() > 0 else min(self.room, _NARROW)
        count = sum(len(labels) for labels in level.values())
        if count <= room:
            return level
        self.proven = False
        ranked = sorted(((label.cost, key, label) for key, labels in level.items() for label in labels), key=_first_two)
        kept: _Level = {}
        for _, key, label in ranked[:room]:
            kept.setdefault(key, []).append(label)
        cheapest: dict[int, int] = {}
        for cost, key, _ in ranked[room:]:
            cheapest.setdefault(key[0], cost)
        self.bound = min(self.bound, *(cost + self._rest(done) for done, cost in cheapest.items()))
        return kept

    def _rest(self, done: int) -> int:
        """What is still to be done costs at least its own minutes."""
        left = [n for n in range(len(self.tasks)) if not done >> n & 1]
        return self._weigh(sum(self.active[n] for n in left), 0, sum(self.elapsed[n] for n in left), 0)

    def _chain(self) -> None:
        """Tasks alike in all but their minutes and chance stand in one order (fact 4)."""
        after = [0] * len(self.tasks)
        for b, need in enumerate(self.need):
            for a in range(len(self.tasks)):
                after[a] |= (need >> a & 1) << b
        alike: dict[tuple[frozenset[int], int, int], list[int]] = {}
        for n, task in enumerate(self.tasks):
            if not task.leaves and self.after_begin[n] == (0, _NEVER):
                alike.setdefault((self.serves[n], self.need[n], after[n]), []).append(n)
        for group in alike.values():
            ranked = sorted(group, key=lambda n: (-self._ratios[n], n))
            for a, b in pairwise(ranked):
                self.need[b] |= 1 << a

    def _trace(self, label: _Label) -> list[Placed]:
        labels: list[_Label] = []
        at: _Label | None = label
        while at is not None and at.task >= 0:
            labels.append(at)
            at = at.before
        placed: list[Placed] = []
        state = self.start
        for each in reversed(labels):
            route = each.route or self.network.route(state, each.begun_in)
            placed.append(Placed(each.task, route, each.wait / STEPS))
            begun: CarState = self.network.states[each.begun_in]
            state = self.network.index[begun.after(self.tasks[each.task].leaves)]
        return placed


def _first_two(entry: tuple[int, _Key, _Label]) -> tuple[int, _Key]:
    return entry[:2]


def _ripe_after_begin(task: int, lags: Sequence[Lag]) -> tuple[int, int]:
    """Steps after the plan's begin between which a task may begin."""
    mine = [lag for lag in lags if lag.before == BEGIN and lag.after == task]
    ripe = max((steps(lag.least_min) for lag in mine), default=0)
    return ripe, min((steps(lag.most_min) for lag in mine if lag.most_min < math.inf), default=_NEVER)


def _ratio(fails: int, active: int) -> float:
    """Chance of failure a minute."""
    return fails / active if active else math.inf if fails else 0.0


def _keep(labels: list[_Label], new: _Label, timed: bool) -> None:
    """Without time there is one label a place: the cheapest."""
    if timed or not labels:
        labels.append(new)
    elif new.cost < labels[0].cost:
        labels[0] = new
