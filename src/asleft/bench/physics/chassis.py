"""The chassis of the estate: drive and lateral motion together, steering, ride height, brake pressure, sensors.

One step function of time while anything moves; sensors are read when asked and warm up with the key on.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, exp

from .bicycle import Bicycle
from .drive import Drive
from .floor import Stand
from .noise import Noise
from .sensor import Sensor

#: Corners and wheels, in this order everywhere: front left, front right, rear left, rear right.
CORNERS = ("front left", "front right", "rear left", "rear right")

#: Brake pressure at full pedal, bar; hand wheel at the lock, degrees; how fast a driver turns it, degrees/s.
FULL_BAR = 95.0
LOCK_DEG = 510.0
TURN_DEG_S = 240.0


@dataclass
class ChassisSensors:
    """Sensors of the chassis: yaw °/s, side and along m/s², angle °, torque N·m, pressure bar."""

    yaw: Sensor
    side: Sensor
    along: Sensor
    angle: Sensor
    torque: Sensor
    pressure: Sensor

    CHANGES = ("yaw", "side", "along", "angle", "torque", "pressure")

    def step(self, dt_s: float) -> None:
        """Let their slow offsets wander."""
        for sensor in (self.yaw, self.side, self.along, self.angle, self.torque, self.pressure):
            sensor.step(dt_s)


class RideHeight:
    """Air springs: four true heights, their sensors' errors, levelling and leaks.

    Attributes: true_mm: wheel centre to arch. sensor_mm: error of each sensor. leak_mm_h: fall per hour.
    """

    CHANGES = ("true_mm", "sensor_mm", "leak_mm_h")

    def __init__(self, target_mm: float, sensor_mm: list[float]) -> None:
        self.true_mm = [target_mm] * 4
        self.sensor_mm = sensor_mm
        self.leak_mm_h = [0.0] * 4

    def read(self, corner: int) -> float:
        """What a corner's sensor shows, mm."""
        return self.true_mm[corner] + self.sensor_mm[corner]

    def level(self, dt_s: float, wanted_reading_mm: list[float]) -> None:
        """Compressor and valves at work: each corner moves towards its wanted reading, 4 mm/s at most."""
        for corner, wanted in enumerate(wanted_reading_mm):
            gap = wanted - self.read(corner)
            self.true_mm[corner] += max(-4.0 * dt_s, min(4.0 * dt_s, gap))

    def leak(self, dt_s: float) -> None:
        """Air lost over any time."""
        for corner, rate in enumerate(self.leak_mm_h):
            self.true_mm[corner] = max(260.0, self.true_mm[corner] - rate * dt_s / 3600.0)


class Chassis:
    """Everything between road and hand wheel.

    Attributes:
        drive, bicycle, stand, sensors, height: its parts. hand_deg: hand wheel now, left positive; wanted_deg: where
        the driver turns it, None: he keeps straight ahead. straight_deg: hand wheel position in which the car runs
        straight. radius: of each wheel over nominal. cruise_km_h: speed that the driver keeps, None: his foot does.
        sensor_c: temperature of the sensors. hands_nm: torque of hands that rest on the wheel. bind_nm: of a joint that
        binds. lock_deg: hand wheel at the left and the right lock. preload_bar: what a pedal that hangs leaves.
    """

    CHANGES = (
        "drive", "bicycle", "sensors", "height", "hand_deg", "wanted_deg", "straight_deg", "radius", "cruise_km_h",
        "sensor_c", "hands_nm", "sway_deg", "crown_deg", "lowest_deg", "highest_deg",
        "bind_nm", "lock_deg", "preload_bar", "_noise",
    )  # fmt: skip

    def __init__(self, drive: Drive, bicycle: Bicycle, sensors: ChassisSensors, height: RideHeight, seed: int) -> None:
        self.drive = drive
        self.bicycle = bicycle
        self.sensors = sensors
        self.height = height
        self.stand = Stand()
        self.hand_deg = 0.0
        self.wanted_deg: float | None = 0.0
        self.straight_deg = 0.0
        self.radius = [1.0, 1.0, 1.0, 1.0]
        self.cruise_km_h: float | None = None
        self.sensor_c = 20.0
        self.hands_nm = 0.0
        self.sway_deg = 0.0
        self.crown_deg = 0.0
        self.lowest_deg = self.highest_deg = 0.0
        self.bind_nm = self.preload_bar = 0.0
        self.lock_deg = [LOCK_DEG, -LOCK_DEG]
        self._noise = Noise(seed, "driver")

    @property
    def moving(self) -> bool:
        """The car rolls, or the hand wheel is being turned."""
        return self.drive.moving or self.turning

    @property
    def turning(self) -> bool:
        """The hand wheel is on its way."""
        return self.wanted_deg is not None and abs(self._within_locks(self.wanted_deg) - self.hand_deg) > 1e-6

    def step(self, rpm: float, dt_s: float) -> float:
        """Advance by ``dt_s``; returns the torque the drive takes from the crank, N·m."""
        drive = self.drive
        drive.slope_deg = self.stand.pitch_deg
        taken = drive.step(rpm, dt_s)
        if self.moving:
            self._steer(dt_s)
            self.bicycle.step(dt_s, drive.speed_m_s, self.hand_deg - self.straight_deg)
        return taken

    def soak(self, dt_s: float, ambient_c: float, powered: bool) -> None:
        """Sensors warm up with the key on, cool without; slow offsets wander; air leaks. Any time."""
        goal = ambient_c + (16.0 if powered else 0.0)
        self.sensor_c = goal + (self.sensor_c - goal) * exp(-dt_s / 700.0)
        self.sensors.step(dt_s)
        self.height.leak(dt_s)

    # -- readings --------------------------------------------------------------------------------------------------

    def yaw_deg_s(self) -> float:
        """Yaw rate sensor, °/s."""
        return self.sensors.yaw.read(degrees(self.bicycle.yaw_rad_s), self.sensor_c)

    def side_m_s2(self) -> float:
        """Lateral accelerometer, m/s²."""
        moving = self.bicycle.side_accel if self.drive.moving else 0.0
        return self.sensors.side.read(moving + self.stand.across_m_s2, self.sensor_c)

    def along_m_s2(self) -> float:
        """Longitudinal accelerometer, m/s²."""
        return self.sensors.along.read(self.drive.accel_m_s2 + self.stand.along_m_s2, self.sensor_c)

    def angle_deg(self) -> float:
        """Steering angle sensor, degrees."""
        return self.sensors.angle.read(self.hand_deg, self.sensor_c)

    def torque_nm(self) -> float:
        """Torque sensor in the column, N·m: what hands put in."""
        true = 2.2 * (1.0 if (self.wanted_deg or 0.0) > self.hand_deg else -1.0) if self.turning else self.hands_nm
        return self.sensors.torque.read(true + self.bind_nm, self.sensor_c)

    def pressure_bar(self) -> float:
        """Brake pressure sensor, bar."""
        return self.sensors.pressure.read(FULL_BAR * self.drive.brake + self.preload_bar, self.sensor_c)

    def wheel_km_h(self, wheel: int) -> float:
        """Speed that a wheel sensor gives, km/h: inner and outer differ in a curve, small wheels turn faster."""
        side = -1.0 if wheel % 2 == 0 else 1.0
        curve = side * 0.5 * self.bicycle.spec.track_m * self.bicycle.yaw_rad_s if self.drive.moving else 0.0
        return abs(self.drive.speed_m_s + curve) * 3.6 / self.radius[wheel]

    def _within_locks(self, degrees_: float) -> float:
        left, right = self.lock_deg
        return min(left, max(right, degrees_))

    # -- inside ----------------------------------------------------------------------------------------------------

    def _steer(self, dt_s: float) -> None:
        if self.wanted_deg is None:
            keep = exp(-dt_s / 1.5)
            self.sway_deg = keep * self.sway_deg + 0.5 * (1.0 - keep * keep) ** 0.5 * self._noise.normal()
            goal = self.straight_deg + self.crown_deg + self.sway_deg
        else:
            goal = self._within_locks(self.wanted_deg)
        most = TURN_DEG_S * dt_s
        self.hand_deg += max(-most, min(most, goal - self.hand_deg))
        self.lowest_deg = min(self.lowest_deg, self.hand_deg)
        self.highest_deg = max(self.highest_deg, self.hand_deg)
