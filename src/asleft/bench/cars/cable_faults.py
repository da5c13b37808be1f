"""Faults of the older petrol car: those of any petrol engine and hand, of its own throttle, and of its K-line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ..kline import LineNode
from ..kwp_frames import Message, Mode
from .faults import Family, Fault, table
from .petrol_faults import CONDITIONS, HAND, MEASURE, PARTS, SUPPLY, number
from .workshop_car import WorkshopCar

#: Faults of the newer car that this one cannot have: it has one plate sensor, and its learn is by hand.
_NOT_HERE = frozenset({
    "supply dips while learning", "plate sensors disagree", "pedal sensors disagree", "pedal sensor noisy",
    "pedal bracket bent", "damper loose", "wrong target wheel",
})  # fmt: skip
#: Address of somebody else's tester; KWP2000 leaves F0 to FE to testers (number recalled).
_OTHER = 0xF5


def _rate(field: str) -> tuple[Callable[[WorkshopCar, float], None], Callable[[WorkshopCar], None]]:
    def put(car: WorkshopCar, size: float) -> None:
        setattr(car.line.faults, field, size)

    def mend(car: WorkshopCar) -> None:
        setattr(car.line.faults, field, 0.0)

    return put, mend


class _OtherTester:
    """Somebody else's tester on the same line: says that it is there, again and again, over whoever speaks."""

    def __init__(self, car: WorkshopCar, period_s: float) -> None:
        self._clock = car.clock
        self._period_s = period_s
        self._node: LineNode | None = car.line.join("second tester", lambda _value, _end_s, _own: None)
        self._say()

    def stop(self) -> None:
        """Unplug it."""
        if self._node is not None:
            self._node.leave()
        self._node = None

    def _say(self) -> None:
        if self._node is not None:
            self._node.send(Message(b"\x3e\x01", Mode.PHYSICAL, 0x11, _OTHER).encode(), 0.005)
            self._clock.call_at(self._clock.now() + self._period_s, self._say)


def _second(car: WorkshopCar, size: float) -> None:
    _unplug(car)
    car.running_faults["second tester"] = _OtherTester(car, size)


def _unplug(car: WorkshopCar) -> None:
    other = car.running_faults.pop("second tester", None)
    if other is not None:
        other.stop()


def _clears(car: Any, size: float) -> None:
    car.later(size, lambda: car.engine.handle(b"\x04"))


_OWN = (
    Fault(
        "sensor shifted", Family.MEASURE, "%", 0.3, 4.0, 2.0, "foot off is not recognised",
        *number("powertrain.throttle.sensor_pct"),
    ),
    Fault("bytes lost", Family.LINK, "share", 0.0, 1.0, 0.02, "answers stay out", *_rate("lost")),
    Fault("bytes changed", Family.LINK, "share", 0.0, 1.0, 0.02, "answers do not fit their sum", *_rate("changed")),
    Fault("line shorted", Family.LINK, "1", 1.0, 1.0, 1.0, "nothing gets through", *_rate("shorted")),
    Fault("second tester", Family.LINK, "s", 0.05, 10.0, 0.3, "answers unasked for", _second, _unplug),
    Fault(
        "other tester clears", Family.LINK, "s", 0.0, 3600.0, 5.0, "codes, counts since clear",
        _clears, lambda _car: None,
    ),
)  # fmt: skip

CABLE_FAULTS = table(
    *(fault for fault in (*CONDITIONS, *HAND, *MEASURE, *SUPPLY, *PARTS) if fault.name not in _NOT_HERE), *_OWN
)
