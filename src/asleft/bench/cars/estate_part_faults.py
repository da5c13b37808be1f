"""Faults of the estate's further functions: what makes a learn fail, or learn what is wrong."""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter
from typing import Any

from ..identifiers import cell
from .estate_gateway import FITTED
from .estate_table import ROWS
from .faults import Family, Fault
from .petrol_faults import How, number
from .petrol_side import checksum

_ON = (1.0, 1.0, 1.0)
_P = "parts."


def _added(path: str, *indices: int, factor: float = 1.0) -> How:
    """More in elements of a list of the car: by the fault's size; mended by as much less."""
    owner = attrgetter(path)
    added: dict[int, float] = {}

    def put(car: Any, size: float) -> None:
        mend(car)
        added[id(car)] = size * factor
        for index in indices:
            owner(car)[index] += size * factor

    def mend(car: Any) -> None:
        less = added.pop(id(car), 0.0)
        for index in indices:
            owner(car)[index] -= less

    return put, mend


def _dead(lamp: str) -> How:
    def put(car: Any, _size: float) -> None:
        car.parts.lamps.dead = [lamp]

    def mend(car: Any) -> None:
        car.parts.lamps.dead = []

    return put, mend


def _forgotten(path: str) -> How:
    """A learned value is lost; mended, somebody else has to learn it."""
    find: Callable[[Any], Any] = attrgetter(path)
    return (lambda car, _size: find(car).forget()), lambda _car: None


def _gap() -> How:
    def set_gap(car: Any, mm: float) -> None:
        for side in car.parts.brake.sides:
            side.gap_mm = mm

    return set_gap, lambda car: set_gap(car, 0.0)


def _missing() -> How:
    """The module of this number in the table is off its plug."""

    def put(car: Any, size: float) -> None:
        name = list(ROWS)[int(size)]
        car.parts.fitted.unplugged.append(name)
        car.module(name).power_off()

    def mend(car: Any) -> None:
        for name in car.parts.fitted.unplugged:
            if car.powered:
                car.module(name).power_on()
        car.parts.fitted.unplugged.clear()

    return put, mend


def _wrong_list() -> How:
    """The bit of the module of this number is the other way round."""

    def turn(car: Any, index: int) -> None:
        memory = car.module("gateway").memory
        body = bytearray(bytes(memory[cell(FITTED)])[:-1])
        body[index // 8] ^= 1 << index % 8
        memory[cell(FITTED)] = bytes(body) + checksum(bytes(body))
        car.apply_list()

    def put(car: Any, size: float) -> None:
        car.running_faults["list"] = int(size)
        turn(car, int(size))

    def mend(car: Any) -> None:
        if "list" in car.running_faults:
            turn(car, car.running_faults.pop("list"))

    return put, mend


def _f(family: Family, name: str, unit: str, sizes: tuple[float, float, float], shows: str, how: How) -> Fault[Any]:
    """A fault; ``sizes`` are lowest, highest and typical."""
    return Fault(name, family, unit, *sizes, shows, *how)


_CONDITIONS = (
    ("gearbox oil cold", "°C", (-20.0, 64.0, 30.0), "the walk refuses with 87", number("chassis_side.oil_c", 78.0)),
    ("brake pedal hangs", "bar", (0.5, 20.0, 3.0), "brake pressure", number("chassis.preload_bar")),
    ("window blocked", "mm", (20.0, 300.0, 90.0), "window is not learned", number(_P + "window.panel.block_mm", None)),
)
_HAND = (("switch let go early", "s", (0.3, 6.0, 1.5), "window is not learned", number("slip_s")),)
_MEASURE = (
    ("battery lead past the sensor", "share", (0.05, 1.0, 0.6), "battery current", number(_P + "battery.bypass")),
    (
        "rear height sensors off", "mm", (5.0, 120.0, 90.0), "pitch by the height sensors",
        _added("chassis.height.sensor_mm", 2, 3),
    ),
)  # fmt: skip
_CODING = (
    ("fitted list wrong", "row", (1.0, 47.0, 42.0), "code D10055", _wrong_list()),
    ("angle zero lost", "1", _ON, "the yaw zero refuses with 22", _forgotten("chassis_side.zeros.angle")),
)
_PARTS = (
    ("stability lamp dead", "1", _ON, "the lamp is off", _dead("stability")),
    ("window guide stiff", "N", (10.0, 220.0, 150.0), "motor current", number(_P + "window.panel.stiff_n")),
    ("window motor slips", "share", (0.02, 0.4, 0.12), "window is not learned", number(_P + "window.panel.slip")),
    ("left caliper stiff", "A", (0.5, 9.0, 6.0), "closing is refused", number(_P + "brake.left.stiff_a")),
    ("right brake motor weak", "share", (0.05, 0.9, 0.5), "closing is refused", number(_P + "brake.right.weak")),
    ("pistons not brought up", "mm", (2.0, 20.0, 15.0), "closing is refused", _gap()),
    ("gearbox oil low", "share", (0.02, 0.8, 0.3), "engagement time", number(_P + "clutches.low")),
    ("clutch worn", "share", (0.05, 1.0, 0.6), "the walk is refused", _added("parts.clutches.needs", 3)),
    ("headlamp bracket bent", "°", (0.1, 2.0, 0.5), "beam", _added("parts.light.beam.bracket_deg", 0)),
    ("tie rod bent", "°", (5.0, 200.0, 80.0), "locks are not learned", _added("chassis.lock_deg", 0, factor=-1.0)),
    ("steering binds", "N·m", (0.2, 4.0, 1.6), "torque with the hands off", number("chassis.bind_nm")),
    ("module missing", "row", (1.0, 47.0, 42.0), "code D10087", _missing()),
)

PART_FAULTS: tuple[Fault[Any], ...] = tuple(
    _f(family, *fault)
    for family, faults in (
        (Family.CONDITIONS, _CONDITIONS),
        (Family.HAND, _HAND),
        (Family.MEASURE, _MEASURE),
        (Family.CODING, _CODING),
        (Family.PARTS, _PARTS),
    )
    for fault in faults
)
