"""What the chassis modules of the estate see, what they have learned, and the estate's sizes drawn from its seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from ..memory import Kept, LearnedValue, Memory
from ..physics.bicycle import Bicycle, BicycleSpec
from ..physics.chassis import Chassis, ChassisSensors, RideHeight
from ..physics.drive import Drive, DriveSpec
from ..physics.noise import Noise
from ..physics.sensor import Sensor, SensorSpec

#: Ride height that the maker wants, wheel centre to arch, mm.
TARGET_MM = 382.0


@dataclass
class Zeros:
    """Learned zeros of the chassis modules; each lives in its module's memory."""

    yaw: LearnedValue
    side: LearnedValue
    along: LearnedValue
    pressure: LearnedValue
    angle: LearnedValue
    torque: LearnedValue
    left_lock: LearnedValue
    right_lock: LearnedValue
    heights: list[LearnedValue]
    camera_yaw: LearnedValue
    camera_pitch: LearnedValue


@dataclass
class Memories:
    """Memories of the chassis modules."""

    stability: Memory = field(default_factory=Memory)
    angle: Memory = field(default_factory=Memory)
    assist: Memory = field(default_factory=Memory)
    suspension: Memory = field(default_factory=Memory)
    camera: Memory = field(default_factory=Memory)


@dataclass
class ChassisSide:
    """What the chassis modules see of the car.

    Attributes:
        chassis, zeros: physics and learned zeros. running, key_on, volts, speed_km_h: of the car. oil_c: gearbox.
        camera_yaw_deg, camera_pitch_deg: true aim of the forward camera. target_mm: how far the aiming target stands to
        the side and above its place, None: no target. seen_s: seconds of good road seen. doors_shut: all.
        tyres_kpa: pressures. calipers: of the parking brake.
    """

    chassis: Chassis
    zeros: Zeros
    running: Callable[[], bool]
    key_on: Callable[[], bool]
    volts: Callable[[], float]
    speed_km_h: Callable[[], float]
    oil_c: float = 20.0
    camera_yaw_deg: float = 0.0
    camera_pitch_deg: float = 0.0
    target_mm: list[float] | None = None
    seen_s: float = 0.0
    doors_shut: bool = True
    light: bool = True
    tyres_kpa: list[float] = field(default_factory=lambda: [240.0, 240.0, 250.0, 250.0])
    sample: dict[str, list[float]] = field(default_factory=dict[str, list[float]])

    CHANGES = (
        "chassis", "oil_c", "camera_yaw_deg", "camera_pitch_deg", "target_mm", "seen_s", "doors_shut", "light",
        "tyres_kpa",
    )  # fmt: skip


def make_zeros(memories: Memories) -> Zeros:
    """The learned zeros in their memories, with the defaults of new modules."""

    def zero(memory: Memory, name: str, limit: float, unit: str) -> LearnedValue:
        return LearnedValue(memory, name, default=0.0, low=-limit, high=limit, kept=Kept.LASTING, unit=unit)

    m = memories
    return Zeros(
        yaw=zero(m.stability, "yaw zero", 4.0, "°/s"),
        side=zero(m.stability, "side acceleration zero", 1.2, "m/s²"),
        along=zero(m.stability, "along acceleration zero", 1.2, "m/s²"),
        pressure=zero(m.stability, "brake pressure zero", 6.0, "bar"),
        angle=zero(m.angle, "angle zero", 15.0, "°"),
        torque=zero(m.assist, "torque zero", 1.0, "N·m"),
        left_lock=zero(m.assist, "left lock", 700.0, "°"),
        right_lock=zero(m.assist, "right lock", 700.0, "°"),
        heights=[zero(m.suspension, f"height {corner}", 40.0, "mm") for corner in range(4)],
        camera_yaw=zero(m.camera, "camera yaw", 3.0, "°"),
        camera_pitch=zero(m.camera, "camera pitch", 3.0, "°"),
    )


def make_chassis(seed: int, chance: Noise) -> Chassis:
    """The chassis of one car, sensors with offsets of their own."""

    def sensor(name: str, spec: SensorSpec) -> Sensor:
        return Sensor(spec, seed, name)

    sensors = ChassisSensors(
        yaw=sensor("yaw", SensorSpec(chance.between(-1.2, 1.2), 0.004, 0.02, 300.0, 0.06, 1.0, 0.05, 120.0)),
        side=sensor("side", SensorSpec(chance.between(-0.3, 0.3), 0.001, 0.01, 300.0, 0.03, 1.0, 0.01, 18.0)),
        along=sensor("along", SensorSpec(chance.between(-0.3, 0.3), 0.001, 0.01, 300.0, 0.03, 1.0, 0.01, 18.0)),
        angle=sensor("angle", SensorSpec(chance.between(-4.0, 4.0), 0.0, 0.0, 300.0, 0.03, 1.0, 0.1, 780.0)),
        torque=sensor("torque", SensorSpec(chance.between(-0.3, 0.3), 0.001, 0.01, 300.0, 0.02, 1.0, 0.02, 12.0)),
        pressure=sensor("pressure", SensorSpec(chance.between(-2.0, 2.0), 0.01, 0.05, 300.0, 0.12, 1.0, 0.1, 250.0)),
    )
    height = RideHeight(TARGET_MM, [chance.between(-9.0, 9.0) for _ in range(4)])
    drive = Drive(DriveSpec(mass_kg=1760.0, wheel_m=0.326, capacity_nm=21.0))
    chassis = Chassis(drive, Bicycle(BicycleSpec()), sensors, height, seed)
    chassis.straight_deg = chance.between(-0.5, 0.5)
    chassis.crown_deg = chance.between(0.1, 0.4)
    return chassis


def learn_all(side: ChassisSide) -> None:
    """Months ago somebody did it right: every zero is what its sensor's offset is."""
    chassis, zeros = side.chassis, side.zeros
    sensors = chassis.sensors
    pairs = (
        (zeros.yaw, sensors.yaw),
        (zeros.side, sensors.side),
        (zeros.along, sensors.along),
        (zeros.pressure, sensors.pressure),
        (zeros.torque, sensors.torque),
    )
    for zero, sensor in pairs:
        zero.learn(sensor.spec.offset)
    zeros.angle.learn(sensors.angle.spec.offset + chassis.straight_deg)
    zeros.left_lock.learn(508.0)
    zeros.right_lock.learn(-508.0)
    for zero, error in zip(zeros.heights, chassis.height.sensor_mm, strict=True):
        zero.learn(error)
    zeros.camera_yaw.learn(side.camera_yaw_deg)
    zeros.camera_pitch.learn(side.camera_pitch_deg)
