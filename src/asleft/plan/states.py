"""The states a car is brought into, what it costs to get from one to another, and shortest ways between them. Pure.

A state has four sides: engine (off, running), heat (cold, warm, through: the gearbox too), place, and high voltage
(ready, safe, rest). A procedure asks for some sides only (``WANTS``); a move changes some sides (``MOVES``). Costs
count twice: minutes the technician is busy (active), minutes by the calendar (elapsed)::

    network = Network(MOVES)
    network.cost(CarState(), WANTS["warm-idle"])     # cheapest way, with its moves

Source: minutes are common practice, no source; a workshop edits them.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import product

import msgspec

#: Sides of a state and their values.
SIDES: dict[str, tuple[str, ...]] = {
    "engine": ("off", "running"),
    "heat": ("cold", "warm", "through"),
    "place": ("bay", "lift", "level", "targets", "outdoors", "road"),
    "voltage": ("ready", "safe", "rest"),
}

#: Some sides with the values that are accepted, or that a move sets.
Sides = Mapping[str, tuple[str, ...]]


class CarState(msgspec.Struct, frozen=True, order=True):
    """Where a car stands. As it comes from the repair: in the bay, cold, engine off."""

    engine: str = "off"
    heat: str = "cold"
    place: str = "bay"
    voltage: str = "ready"

    def meets(self, wanted: Sides) -> bool:
        """Whether each side named has one of the values accepted."""
        return all(getattr(self, side) in values for side, values in wanted.items())

    def after(self, changes: Mapping[str, str]) -> CarState:
        """The state with some sides changed."""
        return msgspec.structs.replace(self, **changes)

    @property
    def words(self) -> str:
        """For a screen: ``engine off, cold, in the bay``."""
        heat = {"cold": "cold", "warm": "warm", "through": "warm with its gearbox"}[self.heat]
        place = _PLACES[self.place]
        high = {"ready": "", "safe": ", high voltage safe", "rest": ", high voltage at rest"}[self.voltage]
        return f"engine {self.engine}, {heat}, {place}{high}"


_PLACES = {
    "bay": "in the bay",
    "lift": "on the lift",
    "level": "on the level floor",
    "targets": "before the targets",
    "outdoors": "outdoors",
    "road": "on the road",
}

_STANDING = ("bay", "lift", "level", "targets", "outdoors")
_WHEELS_DOWN = ("bay", "level", "targets", "outdoors")

#: What a procedure's car state asks for.
WANTS: dict[str, Sides] = {
    "koeo": {"engine": ("off",), "place": _STANDING, "voltage": ("ready",)},
    "parked": {"engine": ("off",), "place": ("bay",), "voltage": ("ready",)},
    "koeo-cold": {"engine": ("off",), "heat": ("cold",), "place": _STANDING, "voltage": ("ready",)},
    "koeo-warm": {"engine": ("off",), "heat": ("warm", "through"), "place": _STANDING, "voltage": ("ready",)},
    "warm-idle": {"engine": ("running",), "heat": ("warm", "through"), "place": _WHEELS_DOWN, "voltage": ("ready",)},
    "hot-outdoors": {"engine": ("running",), "heat": ("warm", "through"), "place": ("outdoors",)},
    "warm-gearbox": {"engine": ("running",), "heat": ("through",), "place": _WHEELS_DOWN, "voltage": ("ready",)},
    "on-lift": {"engine": ("off",), "place": ("lift",), "voltage": ("ready",)},
    "level-floor": {"engine": ("off",), "place": ("level", "targets"), "voltage": ("ready",)},
    "level-idle": {"engine": ("running",), "place": ("level", "targets"), "voltage": ("ready",)},
    "target-bay": {"engine": ("off",), "place": ("targets",), "voltage": ("ready",)},
    "road": {"engine": ("running",), "place": ("road",), "voltage": ("ready",)},
    "road-steady": {"engine": ("running",), "heat": ("warm", "through"), "place": ("road",), "voltage": ("ready",)},
    "cold-soaked": {"engine": ("off",), "heat": ("cold",), "place": _STANDING, "voltage": ("ready",)},
    "hv-safe": {"engine": ("off",), "place": _WHEELS_DOWN, "voltage": ("safe",)},
    "hv-rest": {"engine": ("off",), "place": _WHEELS_DOWN, "voltage": ("rest",)},
}


class Move(msgspec.Struct, frozen=True):
    """One way to change the state.

    Attributes:
        name: words. begins: sides it needs. sets: sides it changes.
        active_min, elapsed_min: cost.
        note: where the minutes come from.
    """

    name: str
    begins: dict[str, tuple[str, ...]]
    sets: dict[str, str]
    active_min: float
    elapsed_min: float
    note: str = "common practice, no source"


_OURS = "our own estimate"

_STARTS = (*_WHEELS_DOWN, "road")
_RUNNING, _OFF, _READY = ("running",), ("off",), ("ready",)

MOVES: tuple[Move, ...] = (
    Move(
        "start the engine",
        {"engine": _OFF, "place": _STARTS, "voltage": _READY},
        {"engine": "running"},
        1,
        1,
    ),
    Move("warm up", {"engine": _RUNNING, "heat": ("cold",), "place": _WHEELS_DOWN}, {"heat": "warm"}, 2, 12),
    Move("engine off, key on", {"engine": _RUNNING, "place": _WHEELS_DOWN}, {"engine": "off"}, 0, 0.5),
    Move(
        "warm the gearbox on the road",
        {"engine": _RUNNING, "heat": ("warm",), "place": ("bay",)},
        {"heat": "through"},
        15,
        20,
    ),
    Move("leave to cool overnight", {"engine": _OFF, "heat": ("warm", "through")}, {"heat": "cold"}, 2, 480),
    Move("onto the lift", {"engine": _OFF, "place": ("bay",)}, {"place": "lift"}, 6, 6),
    Move("down from the lift", {"place": ("lift",)}, {"place": "bay"}, 4, 4),
    Move("onto the level floor", {"place": ("bay",)}, {"place": "level"}, 6, 6),
    Move("off the level floor", {"place": ("level",)}, {"place": "bay"}, 2, 2, _OURS),
    Move("set up the targets", {"place": ("level",)}, {"place": "targets"}, 30, 30),
    Move("put the targets away", {"place": ("targets",)}, {"place": "level"}, 5, 5, _OURS),
    Move("drive outdoors", {"engine": _RUNNING, "place": ("bay",)}, {"place": "outdoors"}, 5, 5),
    Move("drive indoors", {"engine": _RUNNING, "place": ("outdoors",)}, {"place": "bay"}, 5, 5, _OURS),
    Move("drive out", {"engine": _RUNNING, "place": ("bay", "outdoors")}, {"place": "road", "heat": "through"}, 18, 28),
    Move("drive back and park", {"engine": _RUNNING, "place": ("road",)}, {"place": "bay"}, 2, 2),
    Move(
        "make high voltage safe",
        {"engine": _OFF, "place": _WHEELS_DOWN, "voltage": _READY},
        {"voltage": "safe"},
        20,
        30,
    ),
    Move("high voltage ready again", {"voltage": ("safe", "rest")}, {"voltage": "ready"}, 12, 12),
    Move("high voltage to rest", {"voltage": ("safe",)}, {"voltage": "rest"}, 5, 120),
)


class Route(msgspec.Struct, frozen=True):
    """A cheapest way: where it ends, what it costs, the moves."""

    end: CarState
    active_min: float
    elapsed_min: float
    moves: tuple[str, ...]

    @property
    def cost(self) -> tuple[float, float]:
        """Active first, elapsed as tie."""
        return (self.active_min, self.elapsed_min)


class Network:
    """All states and the moves between them; ways are worked out once per starting state.

    For the search, states have numbers (``index``), and costs are pairs of active and elapsed minutes.
    """

    def __init__(self, moves: Sequence[Move] = MOVES) -> None:
        self.states = tuple(CarState(*values) for values in product(*SIDES.values()))
        self.index = {state: n for n, state in enumerate(self.states)}
        self._ways = {state: tuple(_moves_from(state, moves)) for state in self.states}
        self._routes: dict[CarState, dict[CarState, Route]] = {}
        self._distances: dict[int, dict[int, tuple[float, float]]] = {}
        self._serving: dict[str, frozenset[int]] = {}
        self._stops: dict[tuple[int, frozenset[int]], dict[int, tuple[float, float]]] = {}

    def edges(self) -> Iterator[tuple[CarState, CarState, Move]]:
        """Every single move between two states."""
        for state, ways in self._ways.items():
            for move, end in ways:
                yield state, end, move

    def routes(self, start: CarState) -> dict[CarState, Route]:
        """Cheapest way to every state that can be reached, by active minutes, then elapsed (Dijkstra)."""
        if start not in self._routes:
            self._routes[start] = self._work_out(start)
        return self._routes[start]

    def to(self, start: CarState, wanted: Sides) -> tuple[Route, ...]:
        """Cheapest ways to all states that meet what is wanted, cheapest first."""
        found = [route for state, route in self.routes(start).items() if state.meets(wanted)]
        return tuple(sorted(found, key=lambda route: (route.cost, route.end)))

    def cost(self, start: CarState, wanted: Sides) -> Route | None:
        """The cheapest way to a state that meets what is wanted; None when it cannot be reached."""
        return next(iter(self.to(start, wanted)), None)

    def distance(self, start: int, end: int) -> tuple[float, float] | None:
        """Cost of the cheapest way between two numbered states; None without one."""
        return self._from(start).get(end)

    def route(self, start: int, end: int) -> Route:
        """The cheapest way between two numbered states. Raises KeyError: there is none."""
        return self.routes(self.states[start])[self.states[end]]

    def serving(self, wanted: Sides) -> frozenset[int]:
        """Numbers of the states that meet what is wanted."""
        key = repr(sorted(wanted.items()))
        if key not in self._serving:
            self._serving[key] = frozenset(n for n, state in enumerate(self.states) if state.meets(wanted))
        return self._serving[key]

    def first_stops(self, start: int, serving: frozenset[int]) -> dict[int, tuple[float, float]]:
        """Serving states that can be reached and do not lie behind another serving state, with the way's cost."""
        key = (start, serving)
        if key not in self._stops:
            reach = self._from(start)
            ends = sorted((reach[n], n) for n in serving if n in reach)
            kept: list[int] = []
            for cost, end in ends:
                if not any(_sum(reach[stop], self._from(stop).get(end)) == cost for stop in kept):
                    kept.append(end)
            self._stops[key] = {end: reach[end] for end in kept}
        return self._stops[key]

    def _from(self, start: int) -> dict[int, tuple[float, float]]:
        if start not in self._distances:
            routes = self.routes(self.states[start])
            self._distances[start] = {self.index[state]: route.cost for state, route in routes.items()}
        return self._distances[start]

    def _work_out(self, start: CarState) -> dict[CarState, Route]:
        best: dict[CarState, Route] = {}
        queue: list[tuple[tuple[float, float], CarState, tuple[str, ...]]] = [((0.0, 0.0), start, ())]
        while queue:
            (active, elapsed), state, moves = heapq.heappop(queue)
            if state in best:
                continue
            best[state] = Route(state, active, elapsed, moves)
            for move, end in self._ways[state]:
                if end not in best:
                    cost = (active + move.active_min, elapsed + move.elapsed_min)
                    heapq.heappush(queue, (cost, end, (*moves, move.name)))
        return best


def _moves_from(state: CarState, moves: Iterable[Move]) -> Iterator[tuple[Move, CarState]]:
    for move in moves:
        if state.meets(move.begins):
            end = state.after(move.sets)
            if end != state:
                yield move, end


def _sum(a: tuple[float, float], b: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if b is None else (a[0] + b[0], a[1] + b[1])
