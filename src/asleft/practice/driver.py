"""The bench driver: does at a bench car what a question asks a technician to do.

The acts have names of our own (``key-on``, ``do-work`` …) that questions carry; here they become acts of a bench car.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Mapping
from typing import Any, Protocol

from asleft.bench.car import BenchCar
from asleft.ports.clock import Clock


class CarActs(Protocol):
    """Something that does acts at a bench car: the car itself, or a hosted one's control."""

    async def act(self, name: str, /, **args: Any) -> Any:
        """Do one act now."""
        ...


class LocalActs:
    """Acts of a car in this process."""

    def __init__(self, car: BenchCar) -> None:
        self._car = car

    async def act(self, name: str, /, **args: Any) -> Any:
        """Do one act now."""
        return self._car.act(name, **args)


#: Moments of a slow pedal sweep, s after it begins, and pedal, % of travel. Our own pattern.
SWEEP = tuple((0.5 + 0.1 * i, min(100.0, 2.0 * i) if i <= 50 else max(0.0, 100.0 - 2.0 * (i - 50))) for i in range(101))

#: Acts with their moments, s.
Course = tuple[tuple[float, str, dict[str, Any]], ...]

#: Beats before the first act of a sequence, s; and how late a hand follows a cue, s (common practice, no source).
COUNT_IN_S, HAND_S = 3.0, 0.25
#: Sequences by hand: act of a question -> (s after the first act, act of the car). Our own practice pattern.
SEQUENCES: Mapping[str, Course] = {
    "idle-sequence": (
        (0.0, "key", {"position": "on"}),
        (6.0, "pedal", {"percent": 100.0}),
        (18.0, "pedal", {"percent": 0.0}),
        (20.0, "key", {"position": "off"}),
        (41.0, "key", {"position": "on"}),
        (43.0, "key", {"position": "start"}),
        (48.0, "brake", {"pressed": True}),
        (60.0, "brake", {"pressed": False}),
    )
}

_LOADS = ("lamps", "rear heater", "blower")


def _times(course: tuple[tuple[float, str, dict[str, Any]], ...], every_s: float, times: int = 3) -> Course:
    return tuple((n * every_s + after_s, act, args) for n in range(times) for after_s, act, args in course)


#: What goes on while it is recorded: act of a question -> (s after it begins, act of the car). Our own pattern.
COURSES: Mapping[str, Course] = {
    "loads-on": (
        (0.0, "charger", {"on": False}),
        *((6.0, "load", {"name": name, "on": True}) for name in _LOADS),
        *((14.5, "load", {"name": name, "on": False}) for name in _LOADS),
    ),
    "in-gear-three-times": (
        (0.0, "parking_brake", {"on": True}),
        (0.0, "brake", {"pressed": True, "percent": 60.0}),
        *_times(((8.0, "selector", {"position": "D"}), (13.0, "selector", {"position": "P"})), 9.0),
        (33.0, "brake", {"pressed": False}),
    ),
    "drop-throttle-three-times": _times(
        ((1.0, "pedal", {"percent": 7.5}), (5.0, "pedal", {"percent": 0.0})), 11.0
    ),
    "restart": (
        (4.0, "key", {"position": "off"}),
        (9.0, "key", {"position": "on"}),
        (11.0, "key", {"position": "start"}),
    ),
}  # fmt: skip

#: Act of a question -> acts of the car, in order.
ACTS: Mapping[str, tuple[tuple[str, dict[str, Any]], ...]] = {
    "key-on": (("key", {"position": "on"}),),
    "key-off": (("key", {"position": "off"}),),
    "engine-start": (("key", {"position": "start"}),),
    "warm-idle": (("key", {"position": "start"}),),
    "connect-support": (("charger", {"on": True}),),
}


class BenchDriver:
    """Does named acts at a bench car on the job's clock.

    Args:
        car: where the acts go.
        clock: for the ones that take time.
        cleaned: share of the deposits that the work takes away, 0 to 1; 0 is a bore that was not cleaned.
    """

    def __init__(self, car: CarActs, clock: Clock, cleaned: float = 1.0) -> None:
        self._car = car
        self._clock = clock
        self._cleaned = cleaned
        self._running: set[asyncio.Task[None]] = set()

    async def do(self, act: str) -> None:
        """Do one act; unknown ones do nothing. A sweep or a sequence goes on in the background."""
        if act == "do-work":
            await self._work()
        elif act == "pedal-sweep":
            self.meanwhile(self._sweep())
        elif act in SEQUENCES:
            self.meanwhile(self._course(SEQUENCES[act], COUNT_IN_S + HAND_S))
        elif act in COURSES:
            self.meanwhile(self._course(COURSES[act]))
        elif act == "koeo":
            await self._car.act("key", position="off")
            await self._clock.sleep_until(self._clock.now() + 3.0)
            await self._car.act("key", position="on")
        else:
            for name, args in ACTS.get(act, ()):
                await self._car.act(name, **args)

    async def _work(self) -> None:
        """Throttle body removed, cleaned and refitted, support connected; an hour of nobody's patience is left out."""
        await self._car.act("key", position="off")
        await self._clock.sleep_until(self._clock.now() + 5.0)
        await self._car.act("remove_throttle")
        await self._car.act("clean_throttle", fraction=self._cleaned)
        await self._car.act("refit_throttle")
        await self._car.act("charger", on=True)

    def meanwhile(self, doing: Coroutine[None, None, None]) -> None:
        """Go on with acts in the background."""
        task = asyncio.ensure_future(doing)
        self._running.add(task)
        task.add_done_callback(self._running.discard)

    async def _course(self, course: Course, begins_s: float = 0.0) -> None:
        zero_s = self._clock.now() + begins_s
        for after_s, act, args in course:
            await self._clock.sleep_until(zero_s + after_s)
            await self._car.act(act, **args)

    async def _sweep(self) -> None:
        begin = self._clock.now()
        for after_s, percent in SWEEP:
            await self._clock.sleep_until(begin + after_s)
            await self._car.act("pedal", percent=percent)
