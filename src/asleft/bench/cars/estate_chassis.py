"""Stability control, steering angle sensor and steering assist of the estate: zeros that are learned and what of them.

Identifiers 4D.. and routines 5B.. are inventions of the bench.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean, pstdev

from ..identifiers import live
from ..memory import LearnedValue
from ..module import ControlModule
from ..physics.chassis import FULL_BAR
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench, learned_bytes, signed
from .estate_side import ChassisSide, Memories

#: Routines.
ZERO_YAW, ZERO_PRESSURE = 0x5B11, 0x5B12
ZERO_ANGLE = 0x5B21
ZERO_TORQUE, LEARN_LOCKS = 0x5B31, 0x5B32

#: Identifiers: corrected readings and learned zeros.
YAW, SIDE, ALONG, PRESSURE, WHEELS = 0x4D11, 0x4D12, 0x4D13, 0x4D14, 0x4D15
YAW_ZERO, SIDE_ZERO, ALONG_ZERO, PRESSURE_ZERO = 0x4D21, 0x4D22, 0x4D23, 0x4D24
ANGLE, ANGLE_ZERO = 0x4D31, 0x4D32
TORQUE, TORQUE_ZERO, LOCKS = 0x4D41, 0x4D42, 0x4D43

Read = Callable[[], float]


class Averaging:
    """Gathers readings while a routine moves, ten a second as the car's tick comes."""

    def __init__(self, reads: dict[str, Read]) -> None:
        self._reads = reads
        self._values: dict[str, list[float]] = {}

    def start(self, _option: bytes) -> None:
        """Forget what was gathered."""
        self._values = {name: [] for name in self._reads}

    def poll(self) -> None:
        """Take one reading of each; never ends the routine."""
        for name, read in self._reads.items():
            self._values[name].append(read())

    def mean(self, name: str) -> float:
        """Mean of what was gathered."""
        return fmean(self._values[name] or [0.0])

    def still(self, name: str, most: float) -> bool:
        """Whether it scattered no more than ``most``."""
        return len(self._values[name]) >= 10 and pstdev(self._values[name]) <= most


def stability(
    bench: Workbench, memories: Memories, flash: Callable[[], None], *, readable: bool = True
) -> ControlModule:
    """Stability control: yaw, accelerations, brake pressure, wheel speeds.

    Args: flash: lets the lamp flash when a zero was stored. readable: readings and zeros can be read.
    """
    side, zeros = bench.side, bench.side.zeros
    chassis = side.chassis
    corrected: dict[int, tuple[str, Read, float]] = {
        YAW: ("yaw rate: 0.01 °/s", lambda: chassis.yaw_deg_s() - zeros.yaw.value, 0.01),
        SIDE: ("side acceleration: 0.001 m/s²", lambda: chassis.side_m_s2() - zeros.side.value, 0.001),
        ALONG: ("along acceleration: 0.001 m/s²", lambda: chassis.along_m_s2() - zeros.along.value, 0.001),
        PRESSURE: ("brake pressure: 0.01 bar", lambda: chassis.pressure_bar() - zeros.pressure.value, 0.01),
    }
    learned = {
        YAW_ZERO: (zeros.yaw, 0.01),
        SIDE_ZERO: (zeros.side, 0.001),
        ALONG_ZERO: (zeros.along, 0.001),
        PRESSURE_ZERO: (zeros.pressure, 0.01),
    }

    def wheels() -> bytes:
        return b"".join(round(chassis.wheel_km_h(wheel) * 100.0).to_bytes(2, "big") for wheel in range(4))

    told = [
        *(live(did, name, signed(read, step)) for did, (name, read, step) in corrected.items()),
        *(live(did, f"learned {zero.name}", learned_bytes(zero, step)) for did, (zero, step) in learned.items()),
    ]
    return bench.module(
        "stability",
        memory=memories.stability,
        identifiers=[
            *(told if readable else ()),
            live(WHEELS, "wheel speeds FL FR RL RR: 0.01 km/h", wheels),
        ],
        routines=[_zero_yaw(bench, flash), _zero_pressure(bench)],
        codes=_stability_codes(side),
    )


def _zero_yaw(bench: Workbench, flash: Callable[[], None]) -> Routine:
    """Its end is shown by the flashing lamp only; the module tells no result."""
    side = bench.side
    chassis, zeros = side.chassis, side.zeros
    gather = Averaging({"yaw": chassis.yaw_deg_s, "side": chassis.side_m_s2, "along": chassis.along_m_s2})

    def end() -> RoutineState:
        if not (gather.still("yaw", 0.25) and gather.still("side", 0.12)):
            return RoutineState.REFUSED
        stored = [
            zeros.yaw.learn(gather.mean("yaw")),
            zeros.side.learn(gather.mean("side")),
            zeros.along.learn(gather.mean("along")),
        ]
        if all(stored):
            flash()
        return RoutineState.STORED if all(stored) else RoutineState.REFUSED

    return Routine(
        ZERO_YAW,
        "zero of yaw rate and accelerations",
        start_conditions=(
            refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
            refuse_if(lambda: not zeros.angle.learned, 0x22),
            bench.supply(11.8),
        ),
        keep_conditions=(refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),),
        on_start=gather.start,
        on_poll=gather.poll,
        takes_s=6.0,
        on_end=end,
        tells=False,
    )


def _zero_pressure(bench: Workbench) -> Routine:
    side = bench.side
    gather = Averaging({"pressure": side.chassis.pressure_bar})

    def end() -> RoutineState:
        stored = gather.still("pressure", 0.5) and side.zeros.pressure.learn(gather.mean("pressure"))
        return RoutineState.STORED if stored else RoutineState.REFUSED

    return Routine(
        ZERO_PRESSURE,
        "zero of the brake pressure sensor",
        start_conditions=(
            refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
            refuse_if(lambda: FULL_BAR * side.chassis.drive.brake > 8.0, 0x22),
            bench.supply(11.8),
        ),
        on_start=gather.start,
        on_poll=gather.poll,
        takes_s=3.0,
        on_end=end,
    )


def _stability_codes(side: ChassisSide) -> list[TroubleCode]:
    chassis, zeros = side.chassis, side.zeros

    def standing(read: Read, limit: float) -> Callable[[], bool | None]:
        return lambda: abs(read()) > limit if side.key_on() and side.speed_km_h() == 0.0 else None

    def curve() -> bool | None:
        """Straight by the wheels and yet not by the steering angle."""
        if side.speed_km_h() < 30.0:
            return None
        return abs(chassis.angle_deg() - zeros.angle.value) > 12.0 and abs(chassis.bicycle.yaw_rad_s) < 0.02

    def yaw() -> float:
        return chassis.yaw_deg_s() - zeros.yaw.value

    return [
        TroubleCode(0x506362, "yaw rate not plausible at standstill", standing(yaw, 4.0), fail_s=2.0, lamp=True),
        TroubleCode(0x506354, "yaw rate: zero not learned", lambda: not zeros.yaw.learned, lamp=True),
        TroubleCode(0x504454, "brake pressure: zero not learned", lambda: not zeros.pressure.learned, lamp=True),
        TroubleCode(0x505162, "steering angle does not fit the curve driven", curve, fail_s=3.0, lamp=True),
    ]


def steering_angle(bench: Workbench, memories: Memories) -> ControlModule:
    """Steering angle sensor with its zero."""
    side, zeros = bench.side, bench.side.zeros
    chassis = side.chassis
    gather = Averaging({"angle": chassis.angle_deg})

    def end() -> RoutineState:
        still = gather.still("angle", 0.3)
        return RoutineState.STORED if still and zeros.angle.learn(gather.mean("angle")) else RoutineState.REFUSED

    zero = Routine(
        ZERO_ANGLE,
        "zero of the steering angle",
        start_conditions=(refuse_if(lambda: side.speed_km_h() > 0.3, 0x88), bench.supply(11.8)),
        on_start=gather.start,
        on_poll=gather.poll,
        takes_s=2.0,
        on_end=end,
    )
    return bench.module(
        "steering angle",
        memory=memories.angle,
        identifiers=[
            live(ANGLE, "steering angle: 0.1 °", signed(lambda: chassis.angle_deg() - zeros.angle.value, 0.1)),
            live(ANGLE_ZERO, "learned zero", learned_bytes(zeros.angle, 0.01)),
        ],
        routines=[zero],
        codes=[TroubleCode(0x505154, "steering angle: zero not learned", lambda: not zeros.angle.learned, lamp=True)],
    )


def steering_assist(bench: Workbench, memories: Memories) -> ControlModule:
    """Steering assist: torque zero and end stops."""
    side, zeros = bench.side, bench.side.zeros
    chassis = side.chassis
    gather = Averaging({"torque": chassis.torque_nm})

    def end_torque() -> RoutineState:
        still = gather.still("torque", 0.1)
        return RoutineState.STORED if still and zeros.torque.learn(gather.mean("torque")) else RoutineState.REFUSED

    def begin_locks(_option: bytes) -> None:
        chassis.lowest_deg = chassis.highest_deg = chassis.hand_deg

    def watch_locks() -> RoutineState | None:
        reached = chassis.highest_deg > 450.0 and chassis.lowest_deg < -450.0 and abs(chassis.hand_deg) < 6.0
        return _store_locks(zeros.left_lock, zeros.right_lock, side) if reached else None

    awake = (
        refuse_if(lambda: not side.running(), 0x84),
        refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
        bench.supply(12.5),
    )
    routines = [
        Routine(
            ZERO_TORQUE,
            "zero of the torque sensor",
            start_conditions=awake,
            on_start=gather.start,
            on_poll=gather.poll,
            takes_s=5.0,
            on_end=end_torque,
        ),
        Routine(
            LEARN_LOCKS,
            "end stops: left lock, right lock, centre, turned by hand",
            start_conditions=awake,
            on_start=begin_locks,
            on_poll=watch_locks,
            takes_s=40.0,
            on_end=lambda: RoutineState.REFUSED,
        ),
    ]

    def torque() -> float:
        return chassis.torque_nm() - zeros.torque.value

    def locks() -> bytes:
        return learned_bytes(zeros.left_lock, 0.1)()[:2] + learned_bytes(zeros.right_lock, 0.1)()[:2]

    return bench.module(
        "steering assist",
        memory=memories.assist,
        identifiers=[
            live(TORQUE, "torque of the hands: 0.01 N·m", signed(torque, 0.01)),
            live(TORQUE_ZERO, "learned zero of the torque", learned_bytes(zeros.torque, 0.01)),
            live(LOCKS, "learned locks left, right: 0.1 °", locks),
        ],
        routines=routines,
        codes=[
            TroubleCode(0x546054, "torque sensor: zero not learned", lambda: not zeros.torque.learned, lamp=True),
            TroubleCode(0x546154, "end stops not learned", lambda: not zeros.left_lock.learned),
        ],
    )


def _store_locks(left: LearnedValue, right: LearnedValue, side: ChassisSide) -> RoutineState:
    chassis = side.chassis
    stored = left.learn(chassis.highest_deg) and right.learn(chassis.lowest_deg)
    return RoutineState.STORED if stored else RoutineState.REFUSED
