"""A simple drive: torque converter, automatic gears, car mass, brakes, along a line. No slip, no hills unless asked.

Source: converter as capacity and torque ratio over the speed ratio (any text on vehicle drives); figures are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, radians, sin

from .clutches import Clutches


@dataclass(frozen=True)
class DriveSpec:
    """Sizes of a car and its drive.

    Attributes:
        mass_kg: with driver. wheel_m: rolling radius. final: axle ratio. gears: ratios, first to last. reverse: ratio.
        capacity_nm: torque the standing converter takes at 1000 1/min. up_m_s: speeds of the upshifts at half pedal.
        rolling, drag_m2: rolling resistance, cwA. brake_n: force at full brake. park_n: of the parking brake.
    """

    mass_kg: float = 1340.0
    wheel_m: float = 0.308
    final: float = 3.9
    gears: tuple[float, ...] = (3.6, 2.1, 1.4, 1.0, 0.76)
    reverse: float = 3.2
    capacity_nm: float = 17.0
    up_m_s: tuple[float, ...] = (5.0, 9.5, 14.5, 20.0)
    rolling: float = 0.012
    drag_m2: float = 0.66
    brake_n: float = 9500.0
    park_n: float = 5500.0


class Drive:
    """Car and drive.

    Attributes:
        speed_m_s: forward positive. distance_m: travelled. selector: P, R, N or D. brake: 0 to 1. parking: applied.
        slope_deg: of the road, uphill positive. gear: index into the gears. park_share: what is left of the parking
        brake's force. clutches: what grips in the gearbox, None: everything at once.
    """

    CHANGES = (
        "speed_m_s", "distance_m", "selector", "brake", "parking", "slope_deg", "gear",
        "accel_m_s2", "park_share",
    )  # fmt: skip
    __slots__ = (
        "accel_m_s2", "brake", "clutches", "distance_m", "gear", "park_share", "parking", "selector", "slope_deg",
        "spec", "speed_m_s", "turbine_rpm",
    )  # fmt: skip

    def __init__(self, spec: DriveSpec) -> None:
        self.spec = spec
        self.speed_m_s = 0.0
        self.accel_m_s2 = 0.0
        self.distance_m = 0.0
        self.selector = "P"
        self.brake = 0.0
        self.parking = True
        self.slope_deg = 0.0
        self.gear = 0
        self.park_share = 1.0
        self.turbine_rpm = 0.0
        self.clutches: Clutches | None = None

    @property
    def moving(self) -> bool:
        """Not standing, or about to roll away."""
        if self.speed_m_s != 0.0:
            return True
        return self.slope_deg != 0.0 and self.selector != "P" and abs(self._downhill_n()) > self._hold_n()

    @property
    def speed_km_h(self) -> float:
        """What a speedometer shows, km/h."""
        return abs(self.speed_m_s) * 3.6

    def step(self, rpm: float, dt_s: float) -> float:
        """Advance by ``dt_s`` at an engine speed; returns the torque the drive takes from the crank, N·m."""
        spec = self.spec
        taken = push = 0.0
        if self.clutches is not None:
            self.clutches.step(dt_s, self.selector, self.gear)
        if self.selector in {"D", "R"}:
            taken, torque = self._converter(rpm)
            push = torque / spec.wheel_m
        elif not self.moving:
            return 0.0
        self._roll(push, dt_s)
        return taken

    def _converter(self, rpm: float) -> tuple[float, float]:
        """Torque taken from the crank, and torque at the wheels, N·m."""
        spec = self.spec
        forward = self.selector == "D"
        if forward:
            self._shift(rpm)
        ratio = (spec.gears[self.gear] if forward else -spec.reverse) * spec.final
        turbine = self.speed_m_s / spec.wheel_m * ratio * 30.0 / pi
        slip = min(1.3, max(0.0, turbine) / max(rpm, 50.0))
        high = rpm / 1000.0
        taken = spec.capacity_nm * high * high * (1.0 - slip * slip * slip)
        gain = max(1.0, 1.9 - slip) if taken > 0.0 else 1.0
        grip = 1.0 if self.clutches is None else self.clutches.grip
        self.turbine_rpm = grip * max(0.0, turbine) + (1.0 - grip) * rpm
        return taken * grip, taken * grip * gain * ratio * 0.94

    def _shift(self, rpm: float) -> None:
        spec = self.spec
        late = 1.0 + max(0.0, rpm - 2500.0) / 6000.0
        if self.gear < len(spec.up_m_s) and self.speed_m_s > spec.up_m_s[self.gear] * late:
            self.gear += 1
        elif self.gear > 0 and self.speed_m_s < 0.7 * spec.up_m_s[self.gear - 1]:
            self.gear -= 1

    def _roll(self, push_n: float, dt_s: float) -> None:
        spec = self.spec
        speed = self.speed_m_s
        free = push_n + self._downhill_n()
        hold = self._hold_n()
        if speed == 0.0 and abs(free) <= hold:
            self.accel_m_s2 = 0.0
            return
        sign = 1.0 if speed > 0.0 or (speed == 0.0 and free > 0.0) else -1.0
        force = free - sign * (hold + 0.5 * 1.2 * spec.drag_m2 * speed * speed)
        after = speed + force / spec.mass_kg * dt_s
        if speed * after < 0.0:
            after = 0.0
        self.accel_m_s2 = (after - speed) / dt_s
        self.distance_m += abs(speed + after) * 0.5 * dt_s
        self.speed_m_s = after

    def _downhill_n(self) -> float:
        """Force of the slope, forward positive, N."""
        return -self.spec.mass_kg * 9.81 * sin(radians(self.slope_deg))

    def _hold_n(self) -> float:
        """What holds the car: rolling resistance, brakes, lock of the gearbox, N."""
        spec = self.spec
        hold = spec.mass_kg * 9.81 * spec.rolling + spec.brake_n * self.brake
        return hold + self._parked_n()

    def _parked_n(self) -> float:
        """Lock of the gearbox and parking brake, N."""
        if self.selector == "P":
            return self.spec.park_n
        return self.spec.park_n * self.park_share if self.parking else 0.0
