"""Needs to tasks, and the order rules between exactly these tasks: groups expanded, overrides applied. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Protocol

import msgspec

from asleft.book.edges import ORDER_EDGES, EdgeKind, OrderEdge
from asleft.book.functions import FUNCTIONS, Function, Part, name_of
from asleft.model.errors import Code, InputError
from asleft.model.work import Need

from .order import BEGIN, Lag, Task, cycle_in
from .states import WANTS

CLEAR, CYCLES, AS_LEFT = "planned-clear", "key-cycles", "as-left"
NAMES = {CLEAR: "the one planned clear", CYCLES: "key cycles", AS_LEFT: "as-left picture"}
#: What a procedure does to the car state, beside reaching it (common practice, no source).
LEAVES: dict[str, dict[str, str]] = {
    "dpf-service-regen": {"heat": "through"},
}
_ROAD, _END = 8, 9
_STATIONARY = (*range(1, 7), *range(11, 15))


class Timing(msgspec.Struct, frozen=True):
    """State and minutes of a function or one part of it, where a procedure or the workshop gives them."""

    state: str
    active_min: float
    elapsed_min: float


class Wait(Protocol):
    """A wait between two functions, calendar minutes."""

    @property
    def after(self) -> str:
        """Function that ends first."""
        ...

    @property
    def before(self) -> str:
        """Function that waits."""
        ...

    @property
    def least(self) -> float:
        """Minutes at least."""
        ...

    @property
    def most(self) -> float:
        """Minutes at most: then it has expired."""
        ...

    @property
    def why(self) -> str:
        """Words."""
        ...


class Node(msgspec.Struct, frozen=True):
    """One task with what the rules ask about it.

    Attributes:
        name: slug, with its part where it has one. function: the slug alone. words: for a screen.
        phase: 1 to 6 and 11 to 14 stationary, 7 clear, 8 road, 9 end. state: what it is done in.
        task: for the search. procedure: id; empty when there is none.
    """

    name: str
    function: str
    words: str
    phase: int
    state: str
    task: Task
    procedure: str = ""


class Rule(msgspec.Struct, frozen=True):
    """One order rule between two tasks, by index."""

    before: int
    after: int
    edge: OrderEdge

    @property
    def hard(self) -> bool:
        """Wrong result or danger if reversed."""
        return self.edge.kind is EdgeKind.HARD


def nodes_for(
    needs: Sequence[Need],
    timings: Mapping[str, Timing] | None = None,
    forms: Mapping[str, str] | None = None,
    key_cycles: int = 2,
    fails: Mapping[str, float] | None = None,
) -> tuple[Node, ...]:
    """Tasks of the needs, then the planned clear, the key cycles and the as-left picture.

    Args:
        timings: by function or by task name; they replace the starting values.
        forms: for functions of which one form is chosen: its name.
        fails: chance of failure by function or task name; none where it is not named.
    Raises: InputError: cost-missing, a function without state or minutes.
    """
    found: list[Node] = []
    for need in needs:
        function = FUNCTIONS.get(need.function)
        for part in _parts(need, function, timings or {}, forms or {}):
            found.append(_node(need, part, timings or {}, fails or {}))
    return (*found, *_last(key_cycles))


_PART_WORDS = {
    "still": "standing",
    "road": "on the road",
    "cold": "cold",
    "warm": "warm",
    "open": "opening",
    "close": "closing",
}


def _parts(
    need: Need, function: Function | None, timings: Mapping[str, Timing], forms: Mapping[str, str]
) -> Iterator[Part]:
    if function is None:
        timing = timings.get(need.function)
        if timing is None:
            raise InputError(Code.COST_MISSING, need.function)
        yield Part("", timing.state, timing.active_min, timing.elapsed_min, 3)
        return
    parts = [part for part in function.parts if part.phase > 0]
    if function.alternative:
        wanted = forms.get(need.function, parts[0].name)
        parts = [part for part in parts if part.name == wanted]
    yield from parts


def _node(need: Need, part: Part, timings: Mapping[str, Timing], fails: Mapping[str, float]) -> Node:
    name = f"{need.function}/{part.name}" if part.name else need.function
    words = f"{need.name}, {_PART_WORDS[part.name]}" if part.name else need.name
    timing = timings.get(name) or (timings.get(need.function) if not part.name else None)
    state = (timing.state if timing else "") or part.state
    active = timing.active_min if timing else part.active_min
    elapsed = timing.elapsed_min if timing else part.elapsed_min
    if state not in WANTS:
        raise InputError(Code.COST_MISSING, f"{name}: car state {state}")
    chance = fails.get(name, fails.get(need.function, 0.0))
    task = Task(name, WANTS[state], active, elapsed, LEAVES.get(name, {}), chance)
    return Node(name, need.function, words, part.phase, state, task, need.procedure)


def _last(key_cycles: int) -> Iterator[Node]:
    """Clear, key cycles, and the last picture: of a car that stands ready to be handed over."""
    last = ((CLEAR, 7, "koeo", 3.0), (CYCLES, _END, "koeo", 1.0 * key_cycles), (AS_LEFT, _END, "parked", 5.0))
    for name, phase, state, minutes in last:
        yield Node(name, name, NAMES[name], phase, state, Task(name, WANTS[state], minutes, minutes))


def rules_between(nodes: Sequence[Node], edges: Iterable[OrderEdge] = ORDER_EDGES) -> tuple[Rule, ...]:
    """The rules that bind exactly these tasks, groups expanded.

    Args: edges: later ones override earlier ones between the same two names (dropped, or turned).
    Raises: InputError: plan-cycle, naming the rules of the cycle.
    """
    rules: dict[tuple[int, int], Rule] = {}
    for edge in _overridden(edges):
        for a in _members(edge.before, nodes):
            for b in _members(edge.after, nodes, after=True):
                if a != b:
                    known = rules.get((a, b))
                    if known is None or (not known.hard and edge.kind is EdgeKind.HARD):
                        rules[a, b] = Rule(a, b, edge)
    _refuse_cycle(nodes, rules)
    return tuple(rules.values())


def _overridden(edges: Iterable[OrderEdge]) -> tuple[OrderEdge, ...]:
    kept: dict[frozenset[str], OrderEdge] = {}
    for edge in edges:
        kept[frozenset((edge.before, edge.after))] = edge
    return tuple(edge for edge in kept.values() if edge.kind is not EdgeKind.DROPPED)


def waits_between(
    nodes: Sequence[Node], edges: Iterable[OrderEdge], waits: Mapping[str, float], between: Iterable[Wait] = ()
) -> tuple[Lag, ...]:
    """Waits that bind exactly these tasks.

    Args: waits: by point of the rules, calendar minutes from the begin of the plan. between: of two functions.
    """
    lags: dict[tuple[int, int], Lag] = {}
    for edge in _overridden(edges):
        least = waits.get(edge.before)
        for b in _members(edge.after, nodes, after=True) if least else ():
            lags[BEGIN, b] = Lag(BEGIN, b, least or 0.0, why=f"{edge.before.replace('-', ' ')}: {edge.why}")
        if least and edge.after == "any-drive":
            driven = (n for n, node in enumerate(nodes) if _needs_drive(node))
            lags |= {(BEGIN, n): Lag(BEGIN, n, least, why=f"no drive before: {edge.why}") for n in driven}
    for wait in between:
        for a in _members(wait.after, nodes):
            for b in _members(wait.before, nodes):
                lags[a, b] = Lag(a, b, wait.least, wait.most, wait.why)
    return tuple(lags.values())


def _needs_drive(node: Node) -> bool:
    """Its car state is reached by a drive."""
    wants = node.task.wants
    return wants.get("place") in {("road",), ("outdoors",)} or wants.get("heat") == ("through",)


def _members(name: str, nodes: Sequence[Node], *, after: bool = False) -> Iterator[int]:
    """Tasks a name in a rule stands for. The first start of the day is every task that wants the engine running."""
    for n, node in enumerate(nodes):
        first_start = after and name == "first-start" and node.task.wants["engine"] == ("running",)
        if name in {node.name, node.function} or first_start or _in_group(name, node):
            yield n


def _in_group(name: str, node: Node) -> bool:
    match name:
        case "stationary-work":
            return node.phase in _STATIONARY
        case "road-learns" | "any-drive":
            return node.phase == _ROAD
        case "engine-running":
            return node.phase in {6, _ROAD}
        case "learns-in-that-module":
            return node.phase in {3, 4, 5, 6, _ROAD, 11, 12, 13, 14}
        case "any-effect":
            return node.phase != _END
        case _:
            return False


def _refuse_cycle(nodes: Sequence[Node], rules: Mapping[tuple[int, int], Rule]) -> None:
    cycle = cycle_in(len(nodes), frozenset(rules))
    if cycle:
        told = "; ".join(f"{nodes[a].name} before {nodes[b].name} ({rules[a, b].edge.why})" for a, b in pairwise(cycle))
        raise InputError(Code.PLAN_CYCLE, told)


def words_for(name: str) -> str:
    """Words for a task name."""
    function, _, part = name.partition("/")
    words = NAMES.get(function) or name_of(function)
    return f"{words}, {_PART_WORDS[part]}" if part else words
