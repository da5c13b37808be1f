"""Faults of the link and of the talk on it, for any of our bench cars: TRADE 9.3, *Link*."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from asleft.model.frame import CanFrame
from asleft.ports.bus import BusNode
from asleft.ports.clock import Clock

from ..bus_faults import Talker, background_load, every_frame
from ..module import ControlModule
from .faults import Family, Fault
from .workshop_car import WorkshopCar

Put = Callable[[WorkshopCar, float], None]
Mend = Callable[[WorkshopCar], None]


def _nothing(_car: WorkshopCar) -> None:
    """Nothing to take away."""


def _rate(field: str) -> Callable[[WorkshopCar, float], None]:
    def put(car: WorkshopCar, size: float) -> None:
        setattr(car.loop_bus.faults, field, size)

    return put


def _off(field: str) -> Callable[[WorkshopCar], None]:
    return lambda car: setattr(car.loop_bus.faults, field, 0.0)


def _gateway_blocks(car: WorkshopCar, _size: float) -> None:
    """Only the gateway itself and emission-related modules are let through."""
    hidden = {
        module.address.request
        for module in car.modules
        if isinstance(module, ControlModule) and module.name not in {"gateway", "engine"}
    }
    car.loop_bus.faults.only = lambda frame: frame.id in hidden
    car.loop_bus.faults.lost = 1.0


def _gateway_lets(car: WorkshopCar) -> None:
    car.loop_bus.faults.only = every_frame
    car.loop_bus.faults.lost = 0.0


class SecondTester:
    """Somebody else's tester on the same bus: asks for engine speed and says that it is there, again and again."""

    def __init__(self, node: BusNode, clock: Clock, period_s: float) -> None:
        self._node = node
        self._clock = clock
        self._period_s = period_s
        self._stopped = False
        self._ask()

    def stop(self) -> None:
        """Unplug it."""
        self._stopped = True
        self._node.leave()

    def _ask(self) -> None:
        if self._stopped:
            return
        self._node.send(CanFrame(0x7E0, bytes.fromhex("02010C0000000000")))
        self._node.send(CanFrame(0x7DF, bytes.fromhex("023E800000000000")))
        self._clock.call_at(self._clock.now() + self._period_s, self._ask)


def _second_tester(car: WorkshopCar, size: float) -> None:
    _stop("second tester")(car)
    node = car.bus.join("second tester", lambda _frame: None)
    car.running_faults["second tester"] = SecondTester(node, car.clock, size)


def _flood(car: WorkshopCar, _size: float) -> None:
    _stop("flood")(car)
    car.running_faults["flood"] = Talker(car.bus, car.clock, "flooding node", period_s=0.0, identifiers=(0x001,))


def _load(car: WorkshopCar, size: float) -> None:
    _stop("load")(car)
    car.running_faults["load"] = background_load(car.bus, car.clock, size)


def _stop(name: str) -> Callable[[WorkshopCar], None]:
    def stop(car: WorkshopCar) -> None:
        running = car.running_faults.pop(name, None)
        if running is not None:
            running.stop()

    return stop


def _clears(car: WorkshopCar, size: float) -> None:
    def clear() -> None:
        car.module("engine").handle(b"\x04")

    car.later(size, clear)


def _drops(car: WorkshopCar, size: float) -> None:
    """The adapter hears nothing from the engine module for a while, beginning with its next write or routine."""
    bus = car.loop_bus
    engine = car.module("engine").address

    def begin(frame: CanFrame) -> None:
        started = frame.id == engine.request and len(frame.data) > 1 and frame.data[1] in {0x2E, 0x31}
        if started and "drop" in car.running_faults:
            car.running_faults.pop("drop").leave()
            bus.faults.only = lambda other: other.id == engine.response
            bus.faults.lost = 1.0
            car.later(size, lambda: _gateway_lets(car))

    car.running_faults["drop"] = bus.join("adapter watch", begin)


def _drops_not(car: WorkshopCar) -> None:
    watch = car.running_faults.pop("drop", None)
    if watch is not None:
        watch.leave()
    _gateway_lets(car)


def _bus_off(car: WorkshopCar, _size: float) -> None:
    car.bus_of("engine").set_bus_off("engine")


def _bus_on(car: WorkshopCar) -> None:
    car.bus_of("engine").node("engine").recover()


def _link(
    name: str, unit: str, sizes: tuple[float, float, float], shows: str, put: Put, mend: Mend = _nothing
) -> Fault[Any]:
    """A fault of the link; ``sizes`` are lowest, highest and typical."""
    return Fault(name, Family.LINK, unit, *sizes, shows, put, mend)


_ON = (1.0, 1.0, 1.0)

#: Faults of the link; a share is per frame.
LINK_FAULTS: tuple[Fault[Any], ...] = (
    _link("frames lost", "share", (0.0, 1.0, 0.02), "answers stay out", _rate("lost"), _off("lost")),
    _link("frames doubled", "share", (0.0, 1.0, 0.05), "frames come twice", _rate("doubled"), _off("doubled")),
    _link("frames late", "share", (0.0, 1.0, 0.1), "answers come late", _rate("delayed"), _off("delayed")),
    _link("frames changed", "share", (0.0, 1.0, 0.05), "answers differ", _rate("corrupted"), _off("corrupted")),
    _link("error frames", "share", (0.0, 0.9, 0.2), "frames are repeated", _rate("destroyed"), _off("destroyed")),
    _link("gateway blocks", "1", _ON, "only gateway and engine answer", _gateway_blocks, _gateway_lets),
    _link("bus loaded", "share", (0.05, 0.95, 0.6), "answers take longer", _load, _stop("load")),
    _link("node floods", "1", _ON, "nothing else gets through", _flood, _stop("flood")),
    _link("second tester", "s", (0.01, 10.0, 0.2), "answers unasked for", _second_tester, _stop("second tester")),
    _link("other tester clears", "s", (0.0, 3600.0, 5.0), "codes, counts since clear", _clears),
    _link("adapter drops at write", "s", (0.1, 60.0, 3.0), "the answer to a write stays out", _drops, _drops_not),
    _link("engine module bus off", "1", _ON, "it is silent", _bus_off, _bus_on),
)
