"""Routines of a bench module: service 31 with states, conditions, time and results.

A learn that takes two seconds, needs a standing engine, and stores a value::

    Routine(
        0x0201, "electronic throttle lower-stop learn",
        start_conditions=(refuse_if(lambda: engine.rpm > 50, 0x83),),
        keep_conditions=(refuse_if(lambda: battery.volts < 11.5, 0x93),),
        on_start=lambda option: throttle.drive_to_stop(),
        takes_s=2.0,
        on_end=lambda: RoutineState.STORED if stop.learn(throttle.stop_volts) else RoutineState.REFUSED,
        result=lambda: struct.pack(">H", round(stop.value * 1000)),
    )
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum, unique

from .service import Condition


@unique
class RoutineState(IntEnum):
    """Where a routine stands. The value is the first byte of our modules' result record (no standard sets one)."""

    WAITING = 0x00
    MOVING = 0x01
    STORED = 0x02
    REFUSED = 0x03
    STOPPED = 0x04


@dataclass(frozen=True)
class Routine:
    """One routine.

    Attributes:
        rid: 16-bit routine identifier.
        name: what it is, for documentation.
        sessions: sessions that allow it (else 7F).
        level: security level that must be open (else 33).
        option_length: bytes of the option record that start must carry (else 13).
        start_conditions: looked at in order when started.
        keep_conditions: looked at at every poll while moving; broken, it ends REFUSED and the result's second byte is the code.
        on_start: called with the option record.
        takes_s: how long it moves, s, or a callable giving it; 0 ends at once, before the answer.
        on_poll: called at each poll while moving; gives an end state to end early, else None.
        on_end: called when the time is over; gives the end state.
        on_stop: called when it is stopped by request, by session end or by a broken condition.
        result: bytes after state and refusal code in the result record.
        can_stop: whether 31 02 is supported (else 12).
        answer_after: answer the start only when it has ended (response pending meanwhile).
    """

    rid: int
    name: str
    sessions: frozenset[int] = frozenset({0x03})
    level: int | None = None
    option_length: int = 0
    start_conditions: tuple[Condition, ...] = ()
    keep_conditions: tuple[Condition, ...] = ()
    on_start: Callable[[bytes], None] = lambda _option: None
    takes_s: float | Callable[[], float] = 0.0
    on_poll: Callable[[], RoutineState | None] = lambda: None
    on_end: Callable[[], RoutineState] = lambda: RoutineState.STORED
    on_stop: Callable[[], None] = lambda: None
    result: Callable[[], bytes] = lambda: b""
    can_stop: bool = True
    answer_after: bool = False
