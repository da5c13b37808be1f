"""Suspension, forward camera, tyre pressure and restraints of the estate.

Identifiers 4E.. and routines 5C.. are inventions of the bench. The restraint module only identifies itself: nothing of
it can be written or started here.
"""

from __future__ import annotations

from math import atan2, degrees
from struct import pack, unpack

from ..identifiers import Identifier, Write, live
from ..module import ControlModule
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench, learned_bytes, signed
from .estate_side import TARGET_MM, Memories

#: Identifiers and routines.
HEIGHTS, MEASURED, LEVEL = 0x4E11, 0x4E12, 0x5C11
CAMERA_AIM, CAMERA_PROGRESS, AIM_STATIC, AIM_DRIVING = 0x4E21, 0x4E22, 0x5C21, 0x5C22
TYRES = 0x4E51

#: Distance of the camera's target, mm; how long a good road must be seen, s.
TARGET_DISTANCE_MM = 3500.0
SEEN_S = 60.0


def suspension(bench: Workbench, memories: Memories) -> ControlModule:
    """Air suspension: four heights measured by tape are written, then it levels itself."""
    side, zeros = bench.side, bench.side.zeros
    height = side.chassis.height

    def shown() -> bytes:
        return b"".join(signed(lambda c=c: height.read(c) - zeros.heights[c].value, 0.1)() for c in range(4))

    def check(data: bytes) -> int | None:
        return None if all(260 <= value <= 480 for value in unpack(">hhhh", data)) else 0x31

    def store(data: bytes) -> None:
        for corner, measured in enumerate(unpack(">hhhh", data)):
            zeros.heights[corner].learn(height.read(corner) - measured)

    def unlearned() -> bool:
        return not all(zero.learned for zero in zeros.heights)

    def level() -> None:
        height.level(0.1, [TARGET_MM + zero.value for zero in zeros.heights])

    rule = Write(conditions=(*bench.standing(), bench.supply(12.4)), check=check, done=store)
    return bench.module(
        "suspension",
        memory=memories.suspension,
        identifiers=[
            live(HEIGHTS, "heights FL FR RL RR: 0.1 mm", shown),
            Identifier(MEASURED, "heights by tape FL FR RL RR: mm", initial=pack(">4h", *[382] * 4), write=rule),
        ],
        routines=[
            Routine(
                LEVEL,
                "level to the wanted height",
                start_conditions=(
                    refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
                    refuse_if(lambda: not side.doors_shut, 0x22),
                    bench.supply(12.4),
                ),
                on_poll=level,
                takes_s=15.0,
            )
        ],
        codes=[TroubleCode(0x550054, "ride height not learned", unlearned, lamp=True)],
    )


def camera(bench: Workbench, memories: Memories) -> ControlModule:
    """Forward camera: aim by target in the bay, and on the road."""
    side, zeros = bench.side, bench.side.zeros

    def apparent() -> tuple[float, float]:
        aside, above = side.target_mm or [0.0, 0.0]
        return (
            side.camera_yaw_deg + degrees(atan2(aside, TARGET_DISTANCE_MM)),
            side.camera_pitch_deg + degrees(atan2(above, TARGET_DISTANCE_MM)),
        )

    def store_static() -> RoutineState:
        if side.target_mm is None or not side.light:
            return RoutineState.REFUSED
        yaw, pitch = apparent()
        stored = zeros.camera_yaw.learn(yaw) and zeros.camera_pitch.learn(pitch)
        return RoutineState.STORED if stored else RoutineState.REFUSED

    def begin(_option: bytes) -> None:
        side.seen_s = 0.0

    def watch() -> RoutineState | None:
        if side.seen_s < SEEN_S:
            return None
        stored = zeros.camera_yaw.learn(side.camera_yaw_deg) and zeros.camera_pitch.learn(side.camera_pitch_deg)
        return RoutineState.STORED if stored else RoutineState.REFUSED

    def residual() -> bytes:
        yaw = signed(lambda: side.camera_yaw_deg - zeros.camera_yaw.value, 0.01)()
        return yaw + signed(lambda: side.camera_pitch_deg - zeros.camera_pitch.value, 0.01)()

    def learned() -> bytes:
        return learned_bytes(zeros.camera_yaw, 0.01)() + learned_bytes(zeros.camera_pitch, 0.01)()

    return bench.module(
        "camera",
        memory=memories.camera,
        identifiers=[
            live(CAMERA_AIM, "learned aim yaw, pitch: 0.01 °, with limits", learned),
            live(CAMERA_PROGRESS, "road seen: %", lambda: bytes([min(100, int(side.seen_s / SEEN_S * 100.0))])),
            live(0x4E23, "lane offset of a straight lane, yaw and pitch: 0.01 °", residual),
        ],
        routines=[
            Routine(
                AIM_STATIC,
                "aim by target",
                start_conditions=(refuse_if(lambda: side.speed_km_h() > 0.3, 0x88), bench.supply(12.0)),
                takes_s=8.0,
                on_end=store_static,
                result=learned,
            ),
            Routine(
                AIM_DRIVING,
                "aim on the road",
                start_conditions=(refuse_if(lambda: not side.zeros.angle.learned, 0x22), bench.supply(12.0)),
                on_start=begin,
                on_poll=watch,
                takes_s=3600.0,
                on_end=lambda: RoutineState.REFUSED,
            ),
        ],
        codes=[
            TroubleCode(0x9A7054, "camera: aim not learned", lambda: not zeros.camera_yaw.learned),
            TroubleCode(
                0x9A7078,
                "camera: aim beside what the road shows",
                lambda: abs(side.camera_yaw_deg - zeros.camera_yaw.value) > 0.6 if side.speed_km_h() > 40.0 else None,
                fail_s=10.0,
            ),
        ],
    )


def tyre_pressure(bench: Workbench) -> ControlModule:
    """Tyre pressures."""
    side = bench.side
    return bench.module(
        "tyre pressure",
        identifiers=[live(TYRES, "pressures FL FR RL RR: kPa", lambda: pack(">4H", *map(round, side.tyres_kpa)))],
        codes=[TroubleCode(0x576000, "tyre pressure low", lambda: min(side.tyres_kpa) < 185.0, fail_s=5.0, lamp=True)],
    )


def restraints(bench: Workbench) -> ControlModule:
    """Restraints: identification, coding and codes can be read; nothing is written, started or unlocked."""
    return bench.module("restraints", without=frozenset({0x27, 0x2E, 0x2F, 0x31}))
