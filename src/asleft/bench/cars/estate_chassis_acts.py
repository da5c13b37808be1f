"""Acts on the estate's chassis: what its driver does, and what a workshop places, turns, fits and measures."""

from __future__ import annotations

from collections.abc import Callable

from asleft.model.errors import InputError

from ..physics.chassis import Chassis
from ..physics.drive import Drive
from ..physics.noise import Noise
from .estate_acts import read_level
from .estate_side import ChassisSide
from .hand import Hand
from .petrol_sizes import ElectronicTrain


class ChassisActs:
    """Acts of a car with the estate's chassis."""

    chassis: Chassis
    chassis_side: ChassisSide
    powertrain: ElectronicTrain
    drive: Drive
    chance: Noise
    hand: Hand
    need_key_off: Callable[[], None]
    impossible: Callable[[str], InputError]
    share: Callable[[float, str], float]

    # -- acts of the driver ----------------------------------------------------------------------------------------

    def act_drive(self, km_h: float) -> None:
        """Keep a speed, km/h; 0 stops and holds the brake. The engine runs and D is selected."""
        if not self.powertrain.running or self.drive.selector != "D":
            raise self.impossible("start the engine and select D first")
        self.drive.parking = False
        self.chassis.cruise_km_h = km_h

    def act_steer(self, degrees: float | None) -> None:
        """Turn the hand wheel to an angle, left positive; null: keep straight ahead, as a driver does."""
        if degrees is not None and abs(degrees) > 510.0:
            raise self.impossible("the lock is at 510°")
        self.chassis.wanted_deg = degrees

    def act_hands(self, newton_metre: float) -> None:
        """Rest hands on the wheel with a torque; 0 takes them off."""
        self.chassis.hands_nm = newton_metre

    def act_pedal(self, percent: float) -> None:
        """Press the accelerator to a share of its travel, 0 to 100 %; ends keeping a speed."""
        self.chassis.cruise_km_h = None
        self.hand.press(self.share(percent, "pedal"))

    def act_doors(self, shut: bool) -> None:
        """Shut all doors, or open one."""
        self.chassis_side.doors_shut = shut

    # -- acts of the workshop --------------------------------------------------------------------------------------

    def act_place(self, slope_deg: float = 0.0, uphill_deg: float = 0.0, heading_deg: float = 0.0) -> None:
        """Put the car on a floor with a slope towards a direction, at a heading."""
        self._need_standing()
        stand = self.chassis.stand
        stand.slope_deg, stand.uphill_deg, stand.heading_deg = slope_deg, uphill_deg, heading_deg

    def act_turn_round(self) -> None:
        """Turn the car round on the same wheel marks."""
        self._need_standing()
        self.chassis.stand.heading_deg = (self.chassis.stand.heading_deg + 180.0) % 360.0

    def act_align(self, straight_deg: float = 0.0) -> None:
        """Wheel alignment: hand wheel position in which the car then runs straight."""
        self._need_standing()
        self.chassis.straight_deg = straight_deg

    def act_replace_yaw_sensor(self) -> None:
        """Fit a new yaw and acceleration sensor; the key must be off. Its module knows that it has no zero."""
        self.need_key_off()
        sensors, zeros = self.chassis.sensors, self.chassis_side.zeros
        sensors.yaw.extra = self.chance.between(0.5, 1.8)
        sensors.side.extra = self.chance.between(-0.35, 0.35)
        sensors.along.extra = self.chance.between(-0.35, 0.35)
        for zero in (zeros.yaw, zeros.side, zeros.along):
            zero.forget()

    def act_replace_steering_sensor(self) -> None:
        """Fit a new steering angle sensor; the key must be off."""
        self.need_key_off()
        self.chassis.sensors.angle.extra = self.chance.between(-5.0, 5.0)
        self.chassis_side.zeros.angle.forget()

    def act_replace_windscreen(self) -> None:
        """Fit a new windscreen: the camera sits a little differently; the key must be off."""
        self.need_key_off()
        self.chassis_side.camera_yaw_deg += self.chance.between(0.7, 1.2)
        self.chassis_side.camera_pitch_deg -= self.chance.between(0.3, 0.8)
        self.chassis_side.zeros.camera_yaw.forget()
        self.chassis_side.zeros.camera_pitch.forget()

    def act_replace_strut(self, corner: int = 0) -> None:
        """Fit a new air strut with its height sensor at a corner, 0 to 3; the key must be off."""
        self.need_key_off()
        height = self.chassis.height
        height.sensor_mm[corner] += self.chance.between(12.0, 20.0)
        height.leak_mm_h[corner] = 0.0
        self.chassis_side.zeros.heights[corner].forget()

    def act_place_target(self, aside_mm: float = 0.0, above_mm: float = 0.0) -> None:
        """Set up the camera's target, so far to the left of and above its place."""
        self.chassis_side.target_mm = [aside_mm, above_mm]

    def act_remove_target(self) -> None:
        """Take the target away."""
        self.chassis_side.target_mm = None

    def act_set_tyres(self, kilopascal: list[float]) -> None:
        """Set the tyre pressures: front left, front right, rear left, rear right."""
        if len(kilopascal) != 4:
            raise self.impossible("four pressures, please")
        self.chassis_side.tyres_kpa = list(kilopascal)
        for wheel, (pressure, wanted) in enumerate(zip(kilopascal, (240.0, 240.0, 250.0, 250.0), strict=True)):
            self.chassis.radius[wheel] = 1.0 + 2.5e-5 * (pressure - wanted)

    def _need_standing(self) -> None:
        if self.drive.moving:
            raise self.impossible("the car is moving")

    def act_read_level(self) -> dict[str, float]:
        """Digital level on the floor under the car, degrees: along nose up, across left side up; within 0.1°."""
        return read_level(self.chassis.stand, self.chance)
