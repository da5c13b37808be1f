"""The estate bench car: a Brevik with automatic gearbox and 48 modules, most of its running gear with physics behind.

Stability control, steering angle, steering assist, air suspension, forward camera, parking brake and gearbox learn
zeros and references and are wrong until they have. A zero learned on a sloping floor is wrong by the slope; a car
turned round on the same marks shows it. Example::

    car = EstateCar(seed=2)
    car.act("place", slope_deg=1.5, uphill_deg=90.0)
    car.act("replace_yaw_sensor")
"""

from __future__ import annotations

from collections.abc import Mapping
from math import exp

from asleft.ports.bus import Bus
from asleft.ports.clock import Clock

from ..car import AnyModule, Json
from ..kline import KLine
from ..memory import Memory
from ..module import ControlModule
from ..physics.noise import Noise
from ..physics.state import restore_part, save_part
from .engine_acts import EngineActs
from .estate_acts import PartActs
from .estate_body import camera, restraints, suspension, tyre_pressure
from .estate_build import Workbench
from .estate_chassis import stability, steering_angle, steering_assist
from .estate_chassis_acts import ChassisActs
from .estate_faults import ESTATE_FAULTS
from .estate_parts import EstateParts
from .estate_side import ChassisSide, Memories, learn_all, make_chassis, make_zeros
from .estate_table import ROWS
from .estate_wiring import ESTATE_WIRING
from .identity import draw_identity, make_vin
from .petrol_base import PetrolBase
from .petrol_diary import Diary
from .petrol_engine import engine_module
from .petrol_side import EngineSide
from .petrol_sizes import build_powertrain, learnt


class EstateCar(ChassisActs, PartActs, EngineActs, PetrolBase):
    """One estate.

    Args: seed: which car of the model. ambient_c: air outside. warm: arrives at working temperature. lacking: modules
        it was built without, and that its gateway does not list. readable: the stability module tells readings and
        zeros; older software does not.
    """

    def __init__(
        self,
        seed: int = 0,
        ambient_c: float = 21.0,
        *,
        warm: bool = False,
        lacking: tuple[str, ...] | list[str] = (),
        readable: bool = True,
    ) -> None:
        chance, memory = Noise(seed, "identity"), Memory()
        self.values = learnt(memory)
        self.powertrain = build_powertrain(seed, self.values, ambient_c, swept_l=1.998, deposits=0.35)
        if warm:
            self.powertrain.temperatures.warm()
        self.vin = make_vin("E20AT", "L", chance.whole(100_000, 999_999), "EZB")
        self.memories = Memories()
        self.chassis_side = self._chassis_side(seed, warm=warm)
        self.chassis = self.chassis_side.chassis
        drive = self.chassis.drive
        self.engine_side = EngineSide(
            powertrain=self.powertrain,
            electronic=self.powertrain,
            values=self.values,
            long_trim=self.values.long_trim,
            diary=Diary(self.powertrain, chance.between(90.0, 400.0) * 3600.0, 200, chance.between(2e4, 12e4)),
            sensing=Noise(seed, "sensors"),
            pace=chance.between(0.85, 1.25),
            pedal_rest_pct=chance.between(14.5, 17.0),
            speed_km_h=lambda: drive.speed_km_h,
            selector=lambda: drive.selector,
            brake=lambda: drive.brake > 0.0,
        )
        self.parts = EstateParts(seed, self.chassis_side, self.engine_side, lacking)
        modules = self._modules(chance, memory, readable=readable)
        super().__init__("estate", modules, ESTATE_FAULTS, self.engine_side, drive, seed, ESTATE_WIRING)
        self.stability = self.module("stability")
        self.powertrain.drag = self._drag
        self.powertrain.alive = lambda: self.chassis.moving or self.parts.clutches.since_s < 3.0
        self._soaked_s = 0.0

    def _chassis_side(self, seed: int, *, warm: bool) -> ChassisSide:
        train, sizes = self.powertrain, Noise(seed, "chassis")
        chassis = make_chassis(seed, sizes)
        side = ChassisSide(
            chassis=chassis,
            zeros=make_zeros(self.memories),
            running=lambda: train.running,
            key_on=lambda: train.key_on,
            volts=lambda: train.module_v,
            speed_km_h=lambda: chassis.drive.speed_km_h,
            oil_c=78.0 if warm else train.temperatures.ambient_c,
            camera_yaw_deg=sizes.between(-0.6, 0.6),
            camera_pitch_deg=sizes.between(-0.6, 0.6),
        )
        learn_all(side)
        return side

    def _modules(self, chance: Noise, memory: Memory, *, readable: bool) -> list[AnyModule]:
        bench = Workbench(self.chassis_side, chance, self.vin)
        identity = draw_identity(chance, ROWS["engine"].letters, ROWS["engine"].number, "ENGINE")
        engine = engine_module(self.engine_side, memory, identity, self.vin, "ECM-EngineControl")
        self.engine_side.lamp = engine.codes.lamp
        self.engine = engine
        own: dict[str, ControlModule] = {
            "engine": engine,
            **self.parts.modules(bench, lambda _list: self.apply_list()),
            "stability": stability(bench, self.memories, self._lamp_flashes, readable=readable),
            "steering angle": steering_angle(bench, self.memories),
            "steering assist": steering_assist(bench, self.memories),
            "suspension": suspension(bench, self.memories),
            "camera": camera(bench, self.memories),
            "tyre pressure": tyre_pressure(bench),
            "restraints": restraints(bench),
        }
        return [own.get(name) or bench.module(name) for name in ROWS]

    # -- time and truth --------------------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring everything to car time t_s, s."""
        super().advance_to(t_s)
        self.parts.advance(t_s)
        self.parts.lamps.steady("stability", bool(self.stability.codes.matching(0x80)))
        passed_s, self._soaked_s = self.powertrain.now_s - self._soaked_s, self.powertrain.now_s
        if passed_s <= 0.0:
            return
        train, side = self.powertrain, self.chassis_side
        self.chassis.soak(passed_s, train.temperatures.ambient_c, train.key_on)
        goal = train.temperatures.coolant_c - 4.0 if train.running else train.temperatures.ambient_c
        side.oil_c = goal + (side.oil_c - goal) * exp(-passed_s / (900.0 if train.running else 5400.0))
        straight = abs(self.chassis.bicycle.yaw_rad_s) < 0.02
        if 40.0 < self.drive.speed_km_h < 110.0 and straight and side.light:
            side.seen_s += passed_s

    def _drag(self, rpm: float, dt_s: float) -> float:
        wanted = self.chassis.cruise_km_h
        if wanted is not None:
            self._keep_speed(wanted / 3.6 - self.drive.speed_m_s)
        return self.chassis.step(rpm, dt_s)

    def _keep_speed(self, short_m_s: float) -> None:
        drive = self.drive
        if self.chassis.cruise_km_h == 0.0:
            self.powertrain.foot = 0.0
            drive.brake = 0.3 if drive.moving else 0.4
            return
        self.powertrain.foot = min(0.7, max(0.0, 0.035 * short_m_s + 0.006 * drive.speed_m_s))
        drive.brake = min(0.5, max(0.0, -0.06 * (short_m_s + 0.6)))

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only."""
        chassis, side = self.chassis, self.chassis_side
        sensors, zeros, now = chassis.sensors, side.zeros, chassis.sensor_c
        return {
            **super().truth(),
            "vin": self.vin,
            "floor slope, °": chassis.stand.slope_deg,
            "yaw bias left, °/s": sensors.yaw.bias(now) - zeros.yaw.value,
            "side bias left, m/s²": sensors.side.bias(now) - zeros.side.value,
            "along bias left, m/s²": sensors.along.bias(now) - zeros.along.value,
            "pressure bias left, bar": sensors.pressure.bias(now) - zeros.pressure.value,
            "torque bias left, N·m": sensors.torque.bias(now) - zeros.torque.value,
            "angle when straight, °": sensors.angle.bias(now) + chassis.straight_deg - zeros.angle.value,
            "hand wheel when straight, °": chassis.straight_deg,
            "heights, mm": list(chassis.height.true_mm),
            "camera aim left, °": [
                side.camera_yaw_deg - zeros.camera_yaw.value,
                side.camera_pitch_deg - zeros.camera_pitch.value,
            ],
            "gearbox oil, °C": side.oil_c,
            **self.parts.truth(),
            "lamp, stability": self.parts.lamps.pattern("stability", self.now_s()),
        }

    def save_physics(self) -> dict[str, Json]:
        """State of the physics as JSON values."""
        stand = self.chassis.stand
        return {
            **super().save_physics(),
            "chassis": save_part(self.chassis_side),
            "parts": self.parts.save(),
            "stand": [stand.slope_deg, stand.uphill_deg, stand.heading_deg, stand.lean],
        }

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave."""
        super().restore_physics(state)
        restore_part(self.chassis_side, state["chassis"])
        stand = self.chassis.stand
        stand.slope_deg, stand.uphill_deg, stand.heading_deg, stand.lean = state["stand"]
        self._soaked_s = self.powertrain.now_s
        self.parts.restore(state["parts"])

    # -- power, lamps, gateway -------------------------------------------------------------------------------------

    def set_power(self, on: bool) -> None:
        """Key on or off for all modules that are plugged in."""
        super().set_power(on)
        self._silence_unplugged()

    def attach(self, bus: Bus, clock: Clock, line: KLine | None = None) -> None:
        """Put all modules on their buses; the gateway hides those that its list lacks."""
        super().attach(bus, clock, line)
        self.apply_list()

    def restore(self, state: Mapping[str, Json]) -> None:
        """Take over what `save` gave."""
        super().restore(state)
        self._silence_unplugged()

    def _silence_unplugged(self) -> None:
        for name in self.parts.fitted.unplugged:
            self.module(name).power_off()

    def apply_list(self) -> None:
        """The gateway passes nothing to or from modules that its list lacks."""
        if self.gateway is not None:
            listed = self.parts.fitted.listed
            self.gateway.hidden = frozenset(self.module(name).address for name in ROWS if name not in listed)

    def _lamp_flashes(self) -> None:
        self.parts.lamps.flash("stability", self.now_s() + 8.0)
