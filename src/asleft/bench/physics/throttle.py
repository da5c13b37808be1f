"""A motorised throttle: plate, bore, film of deposits, spring, friction and two position sensors.

Angles are in degrees from the plane across the bore, openings in degrees above the lower stop. Deposits do three
things, and cleaning undoes them: they fill the gap round the closed plate, they make the plate stop a little earlier,
and they hold it by friction, so that without current it comes to rest on this or that side of where the spring would
bring it.

Source: plate area by plain geometry (shaft neglected); sizes are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, cos, degrees, exp, pi, radians

from .noise import Noise


@dataclass(frozen=True)
class ThrottleSpec:
    """Sizes of one throttle body.

    Attributes:
        bore_mm: bore diameter.
        closed_deg: plate angle at the clean lower stop.
        gap_mm: radial gap of the clean closed plate.
        gum_fill: share of the gap that full deposits close, 0 to 1.
        film_deg: how much earlier the plate stops with full deposits.
        rest_deg: spring rest (limp) position above the clean stop.
        hold_clean_deg, hold_dirty_deg: friction, as half the band in which the plate may come to rest.
        discharge: discharge coefficient of plate opening and gap.
        span_deg: plate travel that the sensors' 0 to 100 % would span.
        zero_pct: reading of sensor A at the clean lower stop.
        slope_a, slope_b: the sensors' own slopes, about 1.
        offset_b_pct: departure of sensor B from 100 % less A.
        lag_s: time constant of the driven plate.
    """

    bore_mm: float
    closed_deg: float
    gap_mm: float
    gum_fill: float
    film_deg: float
    rest_deg: float
    hold_clean_deg: float
    hold_dirty_deg: float
    discharge: float
    span_deg: float
    zero_pct: float
    slope_a: float
    slope_b: float
    offset_b_pct: float
    lag_s: float


def plate_area_mm2(bore_mm: float, seal_deg: float, angle_deg: float) -> float:
    """Geometric opening between a flat plate and its bore, mm².

    Args: seal_deg: angle at which the plate closes. angle_deg: present angle.
    Returns: πD²/4·(1 − cos α/cos α₀), 0 at and below the closed angle.
    """
    if angle_deg <= seal_deg:
        return 0.0
    return 0.25 * pi * bore_mm * bore_mm * (1.0 - cos(radians(min(angle_deg, 90.0))) / cos(radians(seal_deg)))


def gap_area_mm2(bore_mm: float, gap_mm: float) -> float:
    """Ring between the closed plate and the bore, mm²: πD·gap."""
    return pi * bore_mm * gap_mm


def opening_for_area(bore_mm: float, seal_deg: float, area_mm2: float) -> float:
    """Opening above the closed angle that gives a geometric area, degrees: the inverse of `plate_area_mm2`."""
    full = 0.25 * pi * bore_mm * bore_mm
    inner = (1.0 - max(0.0, min(area_mm2, full)) / full) * cos(radians(seal_deg))
    return degrees(acos(max(0.0, min(1.0, inner)))) - seal_deg


class Throttle:
    """One throttle body with its present state.

    Args: spec: sizes. seed: of the car. deposits: 0 clean to 1 as dirty as it gets.

    Attributes:
        angle_deg: present plate angle. fitted: on the engine and plugged in. rotor_deg: turn of the sensor on its
        shaft against when the module last saw it new; refitting changes it. skew_b_pct: error of sensor B.
    """

    CHANGES = ("angle_deg", "deposits", "fitted", "rotor_deg", "skew_b_pct", "_friction", "_sensing")
    __slots__ = ("_friction", "_sensing", "angle_deg", "deposits", "fitted", "rotor_deg", "skew_b_pct", "spec")

    def __init__(self, spec: ThrottleSpec, seed: int, deposits: float) -> None:
        self.spec = spec
        self._friction = Noise(seed, "throttle friction")
        self._sensing = Noise(seed, "throttle sensors")
        self.deposits = deposits
        self.fitted = True
        self.rotor_deg = 0.0
        self.skew_b_pct = 0.0
        self.angle_deg = self.spring_deg

    @property
    def stop_deg(self) -> float:
        """Plate angle at the lower stop as it is now."""
        return self.spec.closed_deg + self.spec.film_deg * self.deposits

    @property
    def spring_deg(self) -> float:
        """Plate angle at which the springs balance."""
        return self.spec.closed_deg + self.spec.rest_deg

    @property
    def hold_deg(self) -> float:
        """Half the band in which friction can hold the plate, degrees."""
        return self.spec.hold_clean_deg + self.spec.hold_dirty_deg * self.deposits

    @property
    def area_m2(self) -> float:
        """Effective area now: gap and plate opening, times the discharge coefficient, m²."""
        spec = self.spec
        gap = gap_area_mm2(spec.bore_mm, spec.gap_mm) * (1.0 - spec.gum_fill * self.deposits)
        return spec.discharge * (gap + plate_area_mm2(spec.bore_mm, self.stop_deg, self.angle_deg)) * 1e-6

    def reading_a(self, angle_deg: float) -> float:
        """What sensor A shows at an angle, % of its supply, without noise."""
        spec = self.spec
        return spec.zero_pct + spec.slope_a * (angle_deg - spec.closed_deg + self.rotor_deg) / spec.span_deg * 100.0

    def angle_for(self, reading_pct: float) -> float:
        """Angle at which sensor A shows a reading: the inverse of `reading_a`."""
        spec = self.spec
        return (reading_pct - spec.zero_pct) / 100.0 * spec.span_deg / spec.slope_a + spec.closed_deg - self.rotor_deg

    @property
    def sensor_a(self) -> float:
        """Sensor A now, %, noise included; 0 when unplugged."""
        return self.reading_a(self.angle_deg) + 0.02 * self._sensing.normal() if self.fitted else 0.0

    @property
    def sensor_b(self) -> float:
        """Sensor B now, %: falls as A rises; 0 when unplugged."""
        if not self.fitted:
            return 0.0
        spec = self.spec
        ideal = (self.reading_a(self.angle_deg) - spec.zero_pct) / spec.slope_a
        return (
            100.0
            - spec.zero_pct
            + spec.offset_b_pct
            + self.skew_b_pct
            - spec.slope_b * ideal
            + 0.02 * self._sensing.normal()
        )

    def drive(self, dt_s: float, target_deg: float) -> bool:
        """Motor on: move towards an angle. Returns whether it still moves.

        Friction leaves a small error of the side it came from; the motor's own control keeps it to a tenth of the
        band in which the unpowered plate would stay.
        """
        goal = min(max(target_deg, self.stop_deg), 90.0)
        error = goal - self.angle_deg
        dead = 0.1 * self.hold_deg
        if abs(error) <= dead or not self.fitted:
            return False
        edge = goal - dead if error > 0.0 else goal + dead
        self.angle_deg = max(self.stop_deg, edge + (self.angle_deg - edge) * exp(-dt_s / self.spec.lag_s))
        return abs(self.angle_deg - edge) > 0.005

    def press(self, dt_s: float) -> None:
        """Motor on with full force towards the lower stop: friction does not matter."""
        if self.fitted:
            self.angle_deg = self.stop_deg + (self.angle_deg - self.stop_deg) * exp(-dt_s / self.spec.lag_s)

    def release(self) -> None:
        """Motor off: the springs pull towards rest until friction holds the plate."""
        away = self.angle_deg - self.spring_deg
        hold = self.hold_deg * (1.0 - 0.12 * abs(self._friction.normal()))
        if abs(away) > hold:
            self.angle_deg = self.spring_deg + (hold if away > 0.0 else -hold)

    def clean(self, fraction: float) -> None:
        """Take away a share of the deposits, 0 to 1."""
        self.deposits *= 1.0 - min(max(fraction, 0.0), 1.0)
