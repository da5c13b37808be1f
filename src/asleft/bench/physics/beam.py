"""Headlamp aim: the car's pitch, the lamps' brackets and screws, and motors that correct for pitch.

Angles in degrees, up positive. A beam is right when it falls by about 1 % of its length, 0.57° (common practice; the
legal range is to be looked up).
"""

from __future__ import annotations

from math import atan2, degrees, radians, tan

WHEELBASE_MM = 2720.0
WANTED_DEG = -0.57
#: One turn of the screw, degrees; most that a motor turns its lamp, degrees.
PER_TURN_DEG = 0.15
MOTOR_DEG = 2.0


class Beam:
    """Both lamps.

    Attributes: bracket_deg: error of each lamp's seat, left and right. screw_deg: set by hand. motor_deg: set by the
        module for both.
    """

    CHANGES = ("bracket_deg", "screw_deg", "motor_deg")

    def __init__(self, bracket_deg: list[float]) -> None:
        self.bracket_deg = bracket_deg
        self.screw_deg = [-error for error in bracket_deg]
        self.motor_deg = 0.0

    def angle_deg(self, lamp: int, pitch_deg: float) -> float:
        """Beam of a lamp against the horizon of the road, for a body pitch, nose up positive."""
        motor = max(-MOTOR_DEG, min(MOTOR_DEG, self.motor_deg))
        return WANTED_DEG + self.bracket_deg[lamp] + self.screw_deg[lamp] + pitch_deg + motor

    def percent(self, lamp: int, pitch_deg: float) -> float:
        """The same as fall over length, %, down negative."""
        return 100.0 * tan(radians(self.angle_deg(lamp, pitch_deg)))


def pitch_of(heights_mm: list[float]) -> float:
    """Pitch of the body from four heights FL FR RL RR, degrees, nose up positive."""
    front, rear = (heights_mm[0] + heights_mm[1]) / 2.0, (heights_mm[2] + heights_mm[3]) / 2.0
    return degrees(atan2(front - rear, WHEELBASE_MM))
