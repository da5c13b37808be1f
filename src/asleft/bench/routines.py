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

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import IntEnum, unique

from udsoncan.Request import Request

from .service import Condition, Conversation, Later, Refuse, allowed, parse, positive, require


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
        keep_conditions: looked at at every poll while moving; broken, it ends REFUSED, the code in the result's
            second byte.
        on_start: called with the option record.
        takes_s: how long it moves, s, or a callable giving it; 0 ends at once, before the answer.
        on_poll: called at each poll while moving; gives an end state to end early, else None.
        on_end: called when the time is over; gives the end state.
        on_stop: called when it is stopped by request, by session end or by a broken condition.
        result: bytes after state and refusal code in the result record.
        can_stop: whether 31 02 is supported (else 12).
        answer_after: answer the start only when it has ended (response pending meanwhile).
        tells: whether 31 03 is supported (else 12); where it is not, something else shows how it ended.
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
    tells: bool = True


class RoutineService:
    """Service 31: start, stop, results; and the slow work of moving routines."""

    sids = (0x31,)

    def __init__(self, routines: Iterable[Routine]) -> None:
        self._known: dict[int, RunningRoutine] = {}
        for item in routines:
            if item.rid in self._known:
                raise ValueError(f"routine {item.rid:04X} is declared twice")
            self._known[item.rid] = RunningRoutine(item)

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Answer 31 01 (start), 31 02 (stop), 31 03 (results)."""
        parsed = parse(request)
        if parsed.subfunction not in {1, 2, 3}:
            raise Refuse(0x12)
        data = parsed.data or b""
        if len(data) < 2:
            raise Refuse(0x13)
        running = self._known.get(int.from_bytes(data[:2], "big"))
        if running is None:
            raise Refuse(0x31)
        allowed(running.routine.sessions, running.routine.level, talk)
        head = bytes([parsed.subfunction]) + data[:2]
        match parsed.subfunction:
            case 1:
                return self._start(parsed, head, running, data[2:], talk.now())
            case 2:
                if not running.routine.can_stop:
                    raise Refuse(0x12)
                running.stop()
            case _:
                if not running.routine.tells:
                    raise Refuse(0x12)
                if not running.started:
                    raise Refuse(0x24)
                running.poll(talk.now())
        return positive(parsed, head + running.record())

    def state(self, rid: int) -> RoutineState:
        """Where a routine stands. Raises KeyError: unknown."""
        return self._known[rid].state

    def poll(self, now_s: float) -> None:
        """Slow work of all moving routines."""
        for running in self._known.values():
            if running.state is RoutineState.MOVING:
                running.poll(now_s)

    def stop_all(self) -> None:
        """Session over or power lost: what moves stops, results are forgotten."""
        for running in self._known.values():
            running.forget()

    @staticmethod
    def _start(parsed: Request, head: bytes, running: RunningRoutine, option: bytes, now_s: float) -> bytes:
        routine = running.routine
        if len(option) != routine.option_length:
            raise Refuse(0x13)
        if running.state is RoutineState.MOVING:
            raise Refuse(0x24)
        require(routine.start_conditions)
        takes_s = running.start(option, now_s)

        def answer() -> bytes:
            running.poll(now_s + takes_s)
            if running.state is RoutineState.REFUSED:
                raise Refuse(running.refusal or 0x10)
            return positive(parsed, head + running.record())

        if routine.answer_after and takes_s > 0.0:
            raise Later(takes_s, answer)
        return positive(parsed, head + (running.record() if routine.tells else b""))


class RunningRoutine:
    """One routine and where it stands."""

    def __init__(self, routine: Routine) -> None:
        self.routine = routine
        self.state = RoutineState.WAITING
        self.started = False
        self.refusal = 0
        self._end_s = 0.0

    def start(self, option: bytes, now_s: float) -> float:
        """Begin; gives how long it will take, s."""
        takes = self.routine.takes_s
        takes_s = takes() if callable(takes) else takes
        self.started = True
        self.refusal = 0
        self.state = RoutineState.MOVING
        self._end_s = now_s + takes_s
        self.routine.on_start(option)
        if takes_s <= 0.0:
            self.poll(now_s)
        return takes_s

    def poll(self, now_s: float) -> None:
        """Look whether it is broken, ended early or over."""
        if self.state is not RoutineState.MOVING:
            return
        for condition in self.routine.keep_conditions:
            refusal = condition()
            if refusal is not None:
                self.refusal = refusal
                self.state = RoutineState.REFUSED
                self.routine.on_stop()
                return
        early = self.routine.on_poll()
        if early is not None:
            self.state = early
        elif now_s >= self._end_s - 1e-9:
            self.state = self.routine.on_end()

    def stop(self) -> None:
        """By request: only what was started can be stopped (24)."""
        if not self.started:
            raise Refuse(0x24)
        if self.state is RoutineState.MOVING:
            self.state = RoutineState.STOPPED
            self.routine.on_stop()

    def forget(self) -> None:
        """Back to waiting."""
        if self.state is RoutineState.MOVING:
            self.routine.on_stop()
        self.state = RoutineState.WAITING
        self.started = False

    def record(self) -> bytes:
        """State, refusal code, result bytes."""
        return bytes([self.state, self.refusal]) + self.routine.result()
