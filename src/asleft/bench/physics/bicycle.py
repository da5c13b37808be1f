"""Lateral dynamics of a car: the linear bicycle model, with a kinematic one at walking pace.

States are side speed and yaw rate; one step is an implicit midpoint step, stable at any speed.

Source: bicycle model as in any text on vehicle dynamics; steady yaw gain v/(L + K·v²).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

#: Below this speed, m/s, tyres do not slip sideways.
_WALK_M_S = 3.0


@dataclass(frozen=True)
class BicycleSpec:
    """Sizes of a car for its lateral motion.

    Attributes:
        mass_kg, inertia_kg_m2: about the vertical. front_m, rear_m: axles from the centre of mass.
        front_n_rad, rear_n_rad: cornering stiffness of an axle. ratio: hand wheel over road wheel.
        track_m: of both axles.
    """

    mass_kg: float = 1760.0
    inertia_kg_m2: float = 2950.0
    front_m: float = 1.30
    rear_m: float = 1.42
    front_n_rad: float = 98_000.0
    rear_n_rad: float = 122_000.0
    ratio: float = 15.4
    track_m: float = 1.56

    @property
    def wheelbase_m(self) -> float:
        """Distance of the axles, m."""
        return self.front_m + self.rear_m

    @property
    def understeer(self) -> float:
        """Understeer gradient K, s²/m: yaw gain is v/(L + K·v²) for the road wheel angle."""
        return (self.mass_kg / self.wheelbase_m) * (self.rear_m / self.front_n_rad - self.front_m / self.rear_n_rad)


def steady_yaw_rate(spec: BicycleSpec, speed_m_s: float, hand_deg: float) -> float:
    """Yaw rate in steady cornering, rad/s.

    Args: hand_deg: angle of the hand wheel, left positive.
    """
    road = radians(hand_deg) / spec.ratio
    return speed_m_s * road / (spec.wheelbase_m + spec.understeer * speed_m_s * speed_m_s)


class Bicycle:
    """A car's lateral motion. ``side_m_s`` left positive, ``yaw_rad_s`` turning left positive."""

    CHANGES = ("side_m_s", "yaw_rad_s", "side_accel")
    __slots__ = ("side_accel", "side_m_s", "spec", "yaw_rad_s")

    def __init__(self, spec: BicycleSpec) -> None:
        self.spec = spec
        self.side_m_s = 0.0
        self.yaw_rad_s = 0.0
        self.side_accel = 0.0

    def step(self, dt_s: float, speed_m_s: float, hand_deg: float) -> None:
        """Advance by ``dt_s`` at a forward speed with the hand wheel at an angle, left positive.

        ``side_accel`` becomes what an accelerometer at the centre of mass would see on a level road, m/s².
        """
        spec = self.spec
        if abs(speed_m_s) < _WALK_M_S:
            self.yaw_rad_s = steady_yaw_rate(spec, speed_m_s, hand_deg)
            self.side_m_s = self.yaw_rad_s * spec.rear_m
            self.side_accel = speed_m_s * self.yaw_rad_s
            return
        v = speed_m_s
        cf, cr, a, b, m, i = (
            spec.front_n_rad, spec.rear_n_rad, spec.front_m, spec.rear_m, spec.mass_kg, spec.inertia_kg_m2,
        )  # fmt: skip
        a11, a12 = -(cf + cr) / (m * v), (b * cr - a * cf) / (m * v) - v
        a21, a22 = (b * cr - a * cf) / (i * v), -(a * a * cf + b * b * cr) / (i * v)
        road = radians(hand_deg) / spec.ratio
        b1, b2 = cf / m * road, a * cf / i * road
        half = 0.5 * dt_s
        y, r = self.side_m_s, self.yaw_rad_s
        right1 = y + half * (a11 * y + a12 * r) + dt_s * b1
        right2 = r + half * (a21 * y + a22 * r) + dt_s * b2
        m11, m12, m21, m22 = 1.0 - half * a11, -half * a12, -half * a21, 1.0 - half * a22
        det = m11 * m22 - m12 * m21
        self.side_m_s = (right1 * m22 - m12 * right2) / det
        self.yaw_rad_s = (m11 * right2 - m21 * right1) / det
        self.side_accel = (self.side_m_s - y) / dt_s + v * 0.5 * (r + self.yaw_rad_s)
