"""Faults of the estate: those of petrol engines, hand, supply and link, and of its own place, sensors and coding."""

from __future__ import annotations

from operator import attrgetter
from typing import Any

from ..gateway import Overload
from .coding_faults import Change, decimal_for_hex, emptied, foreign_vin, other_market, rewritten, swapped
from .estate_part_faults import PART_FAULTS
from .estate_table import ROWS
from .estate_wiring import ESTATE_WIRING
from .faults import Family, Fault, table
from .link_faults import LINK_FAULTS
from .petrol_faults import CONDITIONS, HAND, MEASURE, PARTS, SUPPLY, How, number

_ON = (1.0, 1.0, 1.0)
_S = "chassis.sensors."


def _element(path: str, index: int, sound: float) -> How:
    """One element of a list of the car."""
    owner = attrgetter(path)

    def put(car: Any, size: float) -> None:
        owner(car)[index] = size

    def mend(car: Any) -> None:
        owner(car)[index] = sound

    return put, mend


def _tyre() -> How:
    def put(car: Any, size: float) -> None:
        car.act_set_tyres([240.0 - size, 240.0, 250.0, 250.0])

    def mend(car: Any) -> None:
        car.act_set_tyres([240.0, 240.0, 250.0, 250.0])

    return put, mend


def _boot() -> How:
    """A load in the boot presses the rear down."""

    def put(car: Any, size: float) -> None:
        for corner in (2, 3):
            car.chassis.height.true_mm[corner] -= size

    def mend(car: Any) -> None:
        """Unloaded, the springs lift it at the next levelling."""

    return put, mend


def _floor() -> How:
    def put(car: Any, size: float) -> None:
        car.chassis.stand.slope_deg = size
        car.chassis.stand.uphill_deg = car.chassis.stand.heading_deg + 90.0

    def mend(car: Any) -> None:
        car.chassis.stand.slope_deg = 0.0

    return put, mend


def _no(path: str) -> How:
    """A flag of the car that is true on a sound one."""
    *owner, name = path.split(".")
    find = attrgetter(".".join(owner))

    def put(car: Any, _size: float) -> None:
        setattr(find(car), name, False)

    def mend(car: Any) -> None:
        setattr(find(car), name, True)

    return put, mend


def _f(family: Family, name: str, unit: str, sizes: tuple[float, float, float], shows: str, how: How) -> Fault[Any]:
    return Fault(name, family, unit, *sizes, shows, *how)


def _coded(module: str, change: Change, *, sum_up: bool = True) -> How:
    """A module's coding was changed."""
    return rewritten(module, ROWS[module].coding_did, change, sum_up=sum_up)


PLACE = tuple(
    _f(Family.CONDITIONS, *fault)
    for fault in (
        ("floor slopes", "°", (0.1, 5.0, 1.5), "side acceleration", _floor()),
        ("someone leans on the car", "°", (0.05, 2.0, 0.4), "side acceleration", number("chassis.stand.lean")),
        (
            "hand wheel not straight",
            "°",
            (0.5, 30.0, 3.0),
            "angle when straight",
            number("chassis.straight_deg"),
        ),
        ("wind from the side", "°", (0.2, 10.0, 2.0), "angle when straight", number("chassis.crown_deg", 0.25)),
        ("door open", "1", _ON, "levelling refuses", _no("chassis_side.doors_shut")),
        ("low sun", "1", _ON, "camera aim refuses", _no("chassis_side.light")),
        ("tyre soft", "kPa", (10.0, 150.0, 70.0), "tyre pressure", _tyre()),
        ("boot loaded", "mm", (5.0, 60.0, 22.0), "rear heights", _boot()),
    )
)

SENSORS = tuple(
    _f(Family.MEASURE, *fault)
    for fault in (
        ("yaw sensor noisy", "°/s", (0.05, 3.0, 0.5), "scatter of the yaw rate", number(_S + "yaw.more_noise")),
        ("yaw sensor offset", "°/s", (-6.0, 6.0, 1.4), "yaw rate at standstill", number(_S + "yaw.extra")),
        ("side sensor offset", "m/s²", (-1.5, 1.5, 0.3), "side acceleration", number(_S + "side.extra")),
        ("angle sensor offset", "°", (-15.0, 15.0, 4.0), "steering angle", number(_S + "angle.extra")),
        ("pressure sensor offset", "bar", (-8.0, 8.0, 2.5), "brake pressure", number(_S + "pressure.extra")),
        ("hand on the wheel", "N·m", (0.1, 3.0, 0.6), "torque", number("chassis.hands_nm")),
        ("small wheel front left", "1", (0.9, 0.995, 0.97), "wheel speed", _element("chassis.radius", 0, 1.0)),
        ("air spring leaks", "mm/h", (1.0, 400.0, 60.0), "height", _element("chassis.height.leak_mm_h", 0, 0.0)),
    )
)

CODED = tuple(
    _f(Family.CODING, *fault)
    for fault in (
        ("coding bytes swapped", "byte", (0.0, 4.0, 0.0), "camera coding", _coded("camera", swapped)),
        (
            "coding checksum wrong", "1", (1.0, 9.0, 1.0), "code of the body module",
            _coded("body front", other_market, sum_up=False),
        ),
        ("coding lost", "1", _ON, "code of the suspension", _coded("suspension", emptied)),
        ("market wrong", "1", (1.0, 9.0, 1.0), "radio coding", _coded("radio", other_market)),
        ("decimal for hexadecimal", "1", _ON, "display coding", _coded("display", decimal_for_hex)),
        ("used module fitted", "number", (1.0, 999_999.0, 123_456.0), "VIN in the cluster", foreign_vin("cluster")),
    )
)  # fmt: skip


def _gateway(overload: Overload) -> How:
    """The gateway holds so many requests only, and treats the rest as it likes."""

    def put(car: Any, size: float) -> None:
        car.wired_gateway.limit, car.wired_gateway.overload = int(size), overload

    def mend(car: Any) -> None:
        car.wired_gateway.limit, car.wired_gateway.overload = ESTATE_WIRING.limit, ESTATE_WIRING.overload

    return put, mend


WIRED = tuple(
    _f(Family.LINK, *fault)
    for fault in (
        ("gateway drops beyond", "requests", (1.0, 6.0, 2.0), "answers stay out", _gateway(Overload.DROP)),
        ("gateway refuses beyond", "requests", (1.0, 6.0, 2.0), "answers 21", _gateway(Overload.REFUSE)),
    )
)

ESTATE_FAULTS = table(
    *CONDITIONS, *HAND, *MEASURE, *SUPPLY, *PARTS, *LINK_FAULTS, *PLACE, *SENSORS, *CODED, *WIRED, *PART_FAULTS
)  # fmt: skip
