"""The states a car is brought into, what it costs to get from one to another, and shortest ways between them. Pure.

A state has four sides: engine (off, running), heat (cold: soaked for hours; cool: started since, or cooled off; warm;
through: the gearbox too), place, and high voltage (ready, safe, rest). A procedure asks for some sides only
(``WANTS``); a move changes some sides (``MOVES``). Costs count minutes the technician is busy (active), minutes by the
calendar (elapsed), and whether it is a drive, a lift or a floor move (counted)::

    network = Network(MOVES)
    network.cost(CarState(), WANTS["warm-idle"])     # cheapest way, with its moves

Source: minutes are common practice, no source; a workshop edits them.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count, product

import msgspec

#: Sides of a state and their values.
SIDES: dict[str, tuple[str, ...]] = {
    "engine": ("off", "running"),
    "heat": ("cold", "cool", "warm", "through"),
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
        heat = {"through": "warm with its gearbox"}.get(self.heat, self.heat)
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
        note: where the minutes come from. counted: a drive, a lift or a floor move.
    """

    name: str
    begins: dict[str, tuple[str, ...]]
    sets: dict[str, str]
    active_min: float
    elapsed_min: float
    note: str = "common practice, no source"
    counted: bool = False


_OURS = "our own estimate"

_STARTS = (*_WHEELS_DOWN, "road")
_RUNNING, _OFF, _READY = ("running",), ("off",), ("ready",)
#: The first start ends a cold soak.
_FIRST = {"engine": "running", "heat": "cool"}

_COLD = ("cold", "cool")

MOVES: tuple[Move, ...] = (
    Move("start the engine", {"engine": _OFF, "heat": ("cold",), "place": _STARTS, "voltage": _READY}, _FIRST, 1, 1),
    Move(
        "start the engine",
        {"engine": _OFF, "heat": ("cool", "warm", "through"), "place": _STARTS, "voltage": _READY},
        {"engine": "running"},
        1,
        1,
    ),
    Move("warm up", {"engine": _RUNNING, "heat": _COLD, "place": _WHEELS_DOWN}, {"heat": "warm"}, 2, 12),
    Move("engine off, key on", {"engine": _RUNNING, "place": _WHEELS_DOWN}, {"engine": "off"}, 0, 0.5),
    Move(
        "warm the gearbox on the road",
        {"engine": _RUNNING, "heat": ("warm",), "place": ("bay",)},
        {"heat": "through"},
        15,
        20,
        counted=True,
    ),
    Move("leave to cool below 40 °C", {"engine": _OFF, "heat": ("warm", "through")}, {"heat": "cool"}, 0, 180),
    Move("leave to cool overnight", {"engine": _OFF, "heat": ("cool", "warm", "through")}, {"heat": "cold"}, 2, 480),
    Move("onto the lift", {"engine": _OFF, "place": ("bay",)}, {"place": "lift"}, 6, 6, counted=True),
    Move("down from the lift", {"place": ("lift",)}, {"place": "bay"}, 4, 4, counted=True),
    Move("onto the level floor", {"place": ("bay",)}, {"place": "level"}, 6, 6, counted=True),
    Move("off the level floor", {"place": ("level",)}, {"place": "bay"}, 2, 2, _OURS, counted=True),
    Move("set up the targets", {"place": ("level",)}, {"place": "targets"}, 30, 30, counted=True),
    Move("put the targets away", {"place": ("targets",)}, {"place": "level"}, 5, 5, _OURS, counted=True),
    Move("drive outdoors", {"engine": _RUNNING, "place": ("bay",)}, {"place": "outdoors"}, 5, 5, counted=True),
    Move("drive indoors", {"engine": _RUNNING, "place": ("outdoors",)}, {"place": "bay"}, 5, 5, _OURS, counted=True),
    Move(
        "drive out",
        {"engine": _RUNNING, "place": ("bay", "outdoors")},
        {"place": "road", "heat": "through"},
        18,
        28,
        counted=True,
    ),
    Move("drive back and park", {"engine": _RUNNING, "place": ("road",)}, {"place": "bay"}, 2, 2, counted=True),
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


#: Active minutes, counted moves, calendar minutes.
Way = tuple[float, int, float]


class Route(msgspec.Struct, frozen=True):
    """A cheapest way: where it ends, what it costs, the moves, and how many of them are drives, lift or floor moves."""

    end: CarState
    active_min: float
    elapsed_min: float
    moves: tuple[str, ...]
    counted: int = 0

    @property
    def cost(self) -> tuple[float, float]:
        """Active first, elapsed as tie."""
        return (self.active_min, self.elapsed_min)

    @property
    def way(self) -> Way:
        """In the order of the objective."""
        return (self.active_min, self.counted, self.elapsed_min)


class Network:
    """All states and the moves between them; ways are worked out once per starting state.

    For the search, states have numbers (``index``), and costs are active minutes, counted moves, calendar minutes.

    Args: quick: ways by the calendar first, instead of active minutes first.
    """

    def __init__(self, moves: Sequence[Move] = MOVES, *, quick: bool = False) -> None:
        self.moves, self.quick = tuple(moves), quick
        self.states = tuple(CarState(*values) for values in product(*SIDES.values()))
        self.index = {state: n for n, state in enumerate(self.states)}
        self._ways = {state: tuple(_moves_from(state, moves)) for state in self.states}
        self._routes: dict[CarState, dict[CarState, Route]] = {}
        self._distances: dict[int, dict[int, Way]] = {}
        self._serving: dict[str, frozenset[int]] = {}
        self._stops: dict[tuple[int, frozenset[int], bool], dict[int, Way]] = {}
        self._quickest: Network | None = None
        self._choices: dict[CarState, dict[CarState, list[Route]]] = {}
        self._ticket = count()

    def quickest(self) -> Network:
        """The same moves, ways by the calendar first."""
        if self._quickest is None:
            self._quickest = Network(self.moves, quick=True)
        return self._quickest

    def edges(self) -> Iterator[tuple[CarState, CarState, Move]]:
        """Every single move between two states."""
        for state, ways in self._ways.items():
            for move, end in ways:
                yield state, end, move

    def routes(self, start: CarState) -> dict[CarState, Route]:
        """Cheapest way to every state that can be reached, by active minutes, counted moves, elapsed (Dijkstra)."""
        if start not in self._routes:
            self._routes[start] = self._work_out(start)
        return self._routes[start]

    def to(self, start: CarState, wanted: Sides) -> tuple[Route, ...]:
        """Cheapest ways to all states that meet what is wanted, cheapest first."""
        found = [route for state, route in self.routes(start).items() if state.meets(wanted)]
        return tuple(sorted(found, key=lambda route: (route.way, route.end)))

    def cost(self, start: CarState, wanted: Sides) -> Route | None:
        """The cheapest way to a state that meets what is wanted; None when it cannot be reached."""
        return next(iter(self.to(start, wanted)), None)

    def choices(self, start: CarState, wanted: Sides) -> tuple[Route, ...]:
        """Ways to the states that meet what is wanted, each quicker than every cheaper one to the same state."""
        if start not in self._choices:
            self._choices[start] = self._work_out_choices(start)
        return tuple(r for state, routes in self._choices[start].items() if state.meets(wanted) for r in routes)

    def distance(self, start: int, end: int) -> Way | None:
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

    def first_stops(self, start: int, serving: frozenset[int], *, every: bool = False) -> dict[int, Way]:
        """Serving states that can be reached and do not lie behind another serving state, with the way's cost.

        Args: every: those behind another as well.
        """
        key = (start, serving, every)
        if key not in self._stops:
            reach = self._from(start)
            ends = sorted((reach[n], n) for n in serving if n in reach)
            kept: list[int] = []
            for cost, end in ends:
                if every or not any(_sum(reach[stop], self._from(stop).get(end)) == cost for stop in kept):
                    kept.append(end)
            self._stops[key] = {end: reach[end] for end in kept}
        return self._stops[key]

    def _from(self, start: int) -> dict[int, Way]:
        if start not in self._distances:
            routes = self.routes(self.states[start])
            self._distances[start] = {self.index[state]: route.way for state, route in routes.items()}
        return self._distances[start]

    def _work_out(self, start: CarState) -> dict[CarState, Route]:
        best: dict[CarState, Route] = {}
        queue = [self._queued(Route(start, 0.0, 0.0, ()))]
        while queue:
            route = heapq.heappop(queue)[-1]
            state = route.end
            if state in best:
                continue
            best[state] = route
            for move, end in self._ways[state]:
                if end not in best:
                    heapq.heappush(queue, self._queued(_on(route, move, end)))
        return best

    def _work_out_choices(self, start: CarState) -> dict[CarState, list[Route]]:
        best: dict[CarState, list[Route]] = {}
        queue = [self._queued(Route(start, 0.0, 0.0, ()))]
        while queue:
            route = heapq.heappop(queue)[-1]
            kept = best.setdefault(route.end, [])
            if any(k.elapsed_min <= route.elapsed_min for k in kept):
                continue
            kept.append(route)
            for move, end in self._ways[route.end]:
                heapq.heappush(queue, self._queued(_on(route, move, end)))
        return best

    def _queued(self, route: Route) -> tuple[tuple[float, ...], int, int, Route]:
        first = (route.elapsed_min,) if self.quick else ()
        return (*first, *route.way), len(route.moves), next(self._ticket), route


def _on(route: Route, move: Move, end: CarState) -> Route:
    return Route(
        end,
        route.active_min + move.active_min,
        route.elapsed_min + move.elapsed_min,
        (*route.moves, move.name),
        route.counted + move.counted,
    )


def _moves_from(state: CarState, moves: Iterable[Move]) -> Iterator[tuple[Move, CarState]]:
    for move in moves:
        if state.meets(move.begins):
            end = state.after(move.sets)
            if end != state:
                yield move, end


def _sum(a: Way, b: Way | None) -> Way | None:
    return None if b is None else (a[0] + b[0], a[1] + b[1], a[2] + b[2])
