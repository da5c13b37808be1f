"""The workshop's own minutes, chances and waits, from a file it edits; starting values where it says nothing. Pure.

::

    moves:
      - {name: onto the lift, active: 9, elapsed: 9}
    functions:
      - {name: idle-relearn, state: warm-idle, active: 15, elapsed: 15, fails: 0.2}
    waits:
      - {until: adhesive-cured, minutes: 240}
      - {after: brake-pressure-zero, before: yaw-accel-zero, least: 2, most: 60, why: zero drifts with temperature}

Source of the starting values: common practice, no source; chances of failure are our own estimate.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import msgspec

from asleft.book.edges import POINTS
from asleft.book.files import ProcedureError, read_struct
from asleft.book.functions import FUNCTIONS
from asleft.book.remark import Complaint, nearest

from .graph import Timing
from .states import MOVES, WANTS, Move

#: Work inside the plan: point in the rules -> words, where and how long (common practice, no source).
INSIDE: dict[str, tuple[str, Timing]] = {
    "wheel-alignment": ("wheel alignment", Timing("level-floor", 45, 52)),
}
#: Points that come by waiting from the begin of the plan: minutes by the calendar (common practice, no source).
WAITS: dict[str, float] = {"adhesive-cured": 120.0}
#: Chance that a procedure fails and stops what follows: our own estimate, the same for all until a workshop knows.
FAILS = 0.05


class MoveMinutes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One way between car states as this workshop has it."""

    name: str
    active: float
    elapsed: float


class FunctionMinutes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One function, or a part of it, as this workshop has it; what is left out keeps its starting value."""

    name: str
    state: str
    active: float
    elapsed: float
    fails: float = FAILS


class WaitMinutes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A wait until a point, from the begin of the plan; or between two functions: at least, at most."""

    until: str = ""
    minutes: float = 0.0
    after: str = ""
    before: str = ""
    least: float = 0.0
    most: float = math.inf
    why: str = ""


class WorkshopFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the file says."""

    moves: tuple[MoveMinutes, ...] = ()
    functions: tuple[FunctionMinutes, ...] = ()
    waits: tuple[WaitMinutes, ...] = ()


class Workshop(msgspec.Struct, frozen=True):
    """What the plan takes from a workshop.

    Attributes:
        moves: ways between states. timings, fails: by function or part. waits: by point, min.
        between: waits between two functions.
    """

    moves: tuple[Move, ...] = MOVES
    timings: Mapping[str, Timing] = {}
    fails: Mapping[str, float] = {}
    waits: Mapping[str, float] = msgspec.field(default_factory=lambda: dict(WAITS))
    between: tuple[WaitMinutes, ...] = ()


def read_workshop(data: bytes, name: str) -> Workshop:
    """A workshop from the bytes of a file called ``name``.

    Raises: ProcedureError: every error with file:line, field, why, and what to write instead.
    """
    read = read_struct(data, name, WorkshopFile)
    complaints = tuple(_complaints(read.value))
    if complaints:
        raise ProcedureError(tuple(read.lines.remark(c) for c in complaints))
    own = {move.name: move for move in read.value.moves}
    moves = tuple(
        msgspec.structs.replace(m, active_min=own[m.name].active, elapsed_min=own[m.name].elapsed, note=name)
        if m.name in own
        else m
        for m in MOVES
    )
    functions = read.value.functions
    return Workshop(
        moves,
        {f.name: Timing(f.state, f.active, f.elapsed) for f in functions},
        {f.name: f.fails for f in functions},
        {**WAITS, **{w.until: w.minutes for w in read.value.waits if w.until}},
        tuple(w for w in read.value.waits if not w.until),
    )


def _complaints(file: WorkshopFile) -> Iterator[Complaint]:
    moves = tuple(dict.fromkeys(m.name for m in MOVES))
    for n, move in enumerate(file.moves):
        yield from _known(("moves", n, "name"), move.name, moves)
        yield from _times(("moves", n), move.active, move.elapsed)
    for n, function in enumerate(file.functions):
        yield from _known(("functions", n, "name"), function.name, _task_names())
        yield from _known(("functions", n, "state"), function.state, tuple(WANTS))
        yield from _times(("functions", n), function.active, function.elapsed)
        if not 0 <= function.fails <= 1:
            yield Complaint(("functions", n, "fails"), "chance", f"{function.fails:g} is no chance", "0 to 1")
    for n, wait in enumerate(file.waits):
        yield from _wait(n, wait)


def _wait(n: int, wait: WaitMinutes) -> Iterator[Complaint]:
    if wait.until:
        yield from _known(("waits", n, "until"), wait.until, tuple(POINTS))
        yield from _times(("waits", n), 0, wait.minutes)
        return
    for field in ("after", "before"):
        yield from _known(("waits", n, field), getattr(wait, field), _task_names())
    if wait.least < 0 or wait.most < wait.least:
        told = f"from {wait.least:g} to {wait.most:g} min is no wait"
        yield Complaint(("waits", n, "most"), "wait", told, "least no more than most, both from 0 up")


def _known(path: tuple[str | int, ...], word: str, known: tuple[str, ...]) -> Iterator[Complaint]:
    if word not in known:
        near = nearest(word, known)
        yield Complaint(path, "unknown", f'"{word}" is not known', near or "one of " + ", ".join(known[:6]) + " …")


def _times(path: tuple[str | int, ...], active: float, elapsed: float) -> Iterator[Complaint]:
    if active < 0 or not math.isfinite(active):
        yield Complaint((*path, "active"), "minutes", f"{active:g} are no minutes", "minutes from 0 up")
    if elapsed < active or not math.isfinite(elapsed):
        why = f"{elapsed:g} min by the calendar for {active:g} min of work"
        yield Complaint((*path, "elapsed"), "minutes", why, "at least the active minutes")


def _task_names() -> tuple[str, ...]:
    parts = (f"{f.slug}/{part.name}" for f in FUNCTIONS.values() for part in f.parts if part.name)
    return (*FUNCTIONS, *INSIDE, *parts)
