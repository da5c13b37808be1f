"""Where a car stands: slope of the floor, heading on it, and what that does to its accelerometers.

A floor falls by a slope in one direction. A car turned round on the same wheel marks sees the slope with the other sign
but carries its sensors' offsets with it; that is how the two can be told apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

#: Standard acceleration of free fall, m/s².
G = 9.80665


@dataclass
class Stand:
    """Place and heading of a car.

    Attributes:
        slope_deg: steepest slope of the floor. uphill_deg: direction of steepest ascent. heading_deg: of the car,
        both counted the same way round. lean: extra slope to the side, deg, as by somebody leaning on the car.
    """

    slope_deg: float = 0.0
    uphill_deg: float = 0.0
    heading_deg: float = 0.0
    lean: float = 0.0

    @property
    def pitch_deg(self) -> float:
        """Slope along the car, nose up positive."""
        return self.slope_deg * cos(radians(self.uphill_deg - self.heading_deg))

    @property
    def roll_deg(self) -> float:
        """Slope across the car, left side up positive."""
        return self.slope_deg * sin(radians(self.uphill_deg - self.heading_deg)) + self.lean

    @property
    def along_m_s2(self) -> float:
        """What a longitudinal accelerometer sees of the slope, m/s²."""
        return G * sin(radians(self.pitch_deg))

    @property
    def across_m_s2(self) -> float:
        """What a lateral accelerometer (left positive) sees of the slope, m/s²."""
        return G * sin(radians(self.roll_deg))
