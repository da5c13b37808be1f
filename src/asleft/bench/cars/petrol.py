"""The petrol bench car: an Aldra of 1.6 l, five modules, one electronic throttle that wants cleaning.

As received it idles acceptably on what it learned with its deposits. Taken off, cleaned and refitted, the throttle's
lower stop is elsewhere and the engine module says so at the next key-on. Example::

    car = PetrolCar(seed=7)
    car.attach(bus, clock)
    car.act("key", position="on")
    car.act("clean_throttle", fraction=0.9)     # InputError: the key must be off and the throttle removed

Another seed is another car of the model: other sizes, offsets, noise, serial numbers, learned values. With
``cleaned=0`` the cleaning is claimed and not done.
"""

from __future__ import annotations

from collections.abc import Mapping

from asleft.model.errors import Code, InputError

from ..car import Json
from ..memory import Memory
from ..physics.consumers import CONSUMERS_A
from ..physics.drive import Drive, DriveSpec
from ..physics.noise import Noise
from ..physics.state import restore_part, save_part
from ..physics.steady import learned_idle_air, warm_idle_air
from .faults import Family
from .hand import Hand
from .identity import draw_identity, make_vin
from .petrol_diary import Diary
from .petrol_engine import engine_module
from .petrol_faults import PETROL_FAULTS
from .petrol_others import OtherSide, other_modules
from .petrol_side import EngineSide
from .petrol_sizes import build_powertrain, learnt
from .workshop_car import WorkshopCar

MAKE, MODEL = "Aldra", "1.6"


class PetrolCar(WorkshopCar):
    """One petrol car.

    Args:
        seed: which car of the model.
        cleaned: share of the deposits that `act_clean_throttle` takes away unless told otherwise, 0 to 1.
        ambient_c: air outside and the temperature the car has soaked to, °C.
        warm: coolant at working temperature when it arrives.
    """

    def __init__(self, seed: int = 0, cleaned: float = 1.0, ambient_c: float = 21.0, *, warm: bool = False) -> None:
        chance = Noise(seed, "identity")
        memory = Memory()
        self.cleaned = cleaned
        self.values = learnt(memory)
        self.powertrain = build_powertrain(seed, self.values, ambient_c)
        if warm:
            heat = self.powertrain.temperatures
            heat.coolant_c, heat.bonnet_c, heat.intake_c = 87.0, 54.0, 45.0
            heat.catalyst_c, heat.rear_c = 330.0, 240.0
        self.vin = make_vin("L16DT", "K", chance.whole(100_000, 999_999))
        self.diary = Diary(
            self.powertrain, chance.between(90.0, 400.0) * 3600.0, chance.whole(60, 250), chance.between(3e4, 16e4)
        )
        self._chance = Noise(seed, "workshop")
        self.drive = Drive(DriveSpec())
        self.powertrain.drag = self.drive.step
        self.powertrain.alive = lambda: self.drive.moving
        self.engine_side = self._engine_side(seed, chance)
        self.other_side = self._other_side(chance)
        identity = draw_identity(chance, "ENG", 1620, "ENGINE")
        engine = engine_module(self.engine_side, memory, identity, self.vin, "ECM-EngineControl")
        self.engine_side.lamp = engine.codes.lamp
        gateway, *others = other_modules(self.other_side)
        super().__init__("petrol", [gateway, engine, *others], PETROL_FAULTS)
        self.hand = Hand(self.later, self._move_pedal, self._turn_key)
        self.engine = engine

    def _engine_side(self, seed: int, chance: Noise) -> EngineSide:
        return EngineSide(
            powertrain=self.powertrain,
            values=self.values,
            diary=self.diary,
            sensing=Noise(seed, "sensors"),
            pace=chance.between(0.85, 1.25),
            pedal_rest_pct=chance.between(14.5, 17.0),
            speed_km_h=lambda: self.drive.speed_km_h,
            selector=lambda: self.drive.selector,
            brake=lambda: self.drive.brake > 0.0,
        )

    def _other_side(self, chance: Noise) -> OtherSide:
        train = self.powertrain
        return OtherSide(
            vin=self.vin,
            chance=chance,
            running=lambda: train.running,
            key_on=lambda: train.key_on,
            volts=lambda: train.module_v,
            speed_km_h=self.engine_side.speed_km_h,
            distance_km=lambda: self.diary.distance_km,
            fuel_share=lambda: train.fuel_l / 50.0,
            coolant_c=lambda: train.temperatures.sensed_c,
            brake=self.engine_side.brake,
            tail_lamp_broken=chance.whole(0, 1) == 1,
        )

    # -- time and truth --------------------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring the physics and the engine module's counters to car time t_s, s."""
        self.powertrain.wind_m_s = abs(self.drive.speed_m_s)
        self.powertrain.advance_to(t_s)
        self.diary.advance(self.engine_side.speed_km_h(), self.engine_side.lamp())

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only: sizes, angles, areas and learned values as they are."""
        train, throttle = self.powertrain, self.powertrain.throttle
        return {
            "vin": self.vin,
            "deposits": throttle.deposits,
            "throttle fitted": throttle.fitted,
            "true lower stop, %": throttle.reading_a(throttle.stop_deg),
            "learned lower stop, %": self.values.stop.value,
            "spring rest without friction, %": throttle.reading_a(throttle.spring_deg),
            "rest may differ by, %": throttle.hold_deg / throttle.spec.span_deg * 100.0,
            "plate above stop, degrees": throttle.angle_deg - throttle.stop_deg,
            "throttle effective area, mm²": throttle.area_m2 * 1e6,
            "leak effective area, mm²": train.defects.leak_m2 * 1e6,
            "idle target, 1/min": train.idle.target_rpm,
            "engine speed, 1/min": train.crank.rpm,
            "air, g/s": train.air_kg_s * 1e3,
            "warm idle air, g/s": warm_idle_air(train) * 1e3,
            "learned idle air, g/s": self.values.idle_air.value,
            "idle air to be learned, g/s": learned_idle_air(train),
            "injector error": train.fuel.spec.injector_error,
            "speed, km/h": self.drive.speed_km_h,
            "coolant, °C": train.temperatures.coolant_c,
            "battery charge": train.supply.battery.charge,
            "supply, V": train.supply.volts,
            "consumers on": list(train.consumers),
            "faults": dict(self.faults.active),
        }

    def save_physics(self) -> dict[str, Json]:
        """State of the physics as JSON values."""
        return {
            "powertrain": save_part(self.powertrain),
            "diary": save_part(self.diary),
            "sensing": self.engine_side.sensing.save(),
            "workshop": self._chance.save(),
            "drive": save_part(self.drive),
            "faults": dict(self.faults.active),
            "supply was off": self.other_side.supply_was_off,
        }

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave; faults of the link are of the link and not taken over."""
        for name, size in state["faults"].items():
            if self.faults.of(name).family is not Family.LINK:
                self.faults.put(name, size)
        restore_part(self.powertrain, state["powertrain"])
        restore_part(self.diary, state["diary"])
        self.engine_side.sensing.restore(state["sensing"])
        self._chance.restore(state["workshop"])
        restore_part(self.drive, state["drive"])
        self.other_side.supply_was_off = bool(state["supply was off"])

    # -- acts of the driver ----------------------------------------------------------------------------------------

    def act_key(self, position: str) -> None:
        """Turn the key: off, on, start."""
        if position not in {"off", "on", "start"}:
            raise self._impossible(f"no key position {position!r}: off, on or start")
        if position == "start" and self.drive.selector not in {"P", "N"}:
            raise self._impossible("it starts in P or N only")
        self.hand.turn(position)

    def act_pedal(self, percent: float) -> None:
        """Press the accelerator to a share of its travel, 0 to 100 %."""
        self.hand.press(self._share(percent, "pedal"))

    def _turn_key(self, position: str) -> None:
        train = self.powertrain
        if position != "off" and not train.key_on:
            self.diary.cycle()
        train.key(position != "off")
        self.set_power(position != "off")
        if position == "start":
            train.start()

    def _move_pedal(self, share: float) -> None:
        self.powertrain.foot = share

    def act_brake(self, pressed: bool, percent: float = 40.0) -> None:
        """Press the foot brake to a share of its force, 0 to 100 %, or release it."""
        self.drive.brake = self._share(percent, "brake") if pressed else 0.0

    def act_parking_brake(self, on: bool) -> None:
        """Apply or release the parking brake."""
        self.drive.parking = on

    def act_selector(self, position: str) -> None:
        """Move the selector: P, R, N, D. Out of P only with the foot brake pressed."""
        if position not in {"P", "R", "N", "D"}:
            raise self._impossible(f"no selector position {position!r}: P, R, N or D")
        drive = self.drive
        if drive.selector == "P" and position != "P" and drive.brake <= 0.0:
            raise self._impossible("the selector is locked in P until the foot brake is pressed")
        if {drive.selector, position} in ({"D", "R"}, {"D", "P"}, {"N", "P"}, {"R", "P"}) and drive.speed_km_h > 3.0:
            raise self._impossible("the car is moving")
        drive.selector = position

    def act_load(self, name: str, on: bool) -> None:
        """Switch an electrical consumer: lamps, rear heater, blower, cooler, radio."""
        if name not in CONSUMERS_A:
            raise self._impossible(f"no consumer {name!r}; there are {', '.join(CONSUMERS_A)}")
        self.powertrain.switch(name, on)

    # -- acts of the workshop --------------------------------------------------------------------------------------

    def act_charger(self, on: bool, volts: float = 13.6, limit_a: float = 50.0) -> None:
        """Connect or take off a support unit that holds a voltage up to a current."""
        supply = self.powertrain.supply
        supply.charger_v = volts if on else 0.0
        supply.charger_a = limit_a

    def act_remove_throttle(self) -> None:
        """Unplug and take off the throttle body; the key must be off."""
        throttle = self._throttle(fitted=True)
        throttle.fitted = False

    def act_clean_throttle(self, fraction: float | None = None) -> None:
        """Clean the removed throttle body: share of the deposits taken away, 0 to 1 (else as the car was built)."""
        throttle = self._throttle(fitted=False)
        throttle.clean(self.cleaned if fraction is None else fraction)

    def act_refit_throttle(self) -> None:
        """Fit and plug in the throttle body: its sensor sits a little differently on the shaft than before."""
        throttle = self._throttle(fitted=False)
        throttle.fitted = True
        throttle.rotor_deg -= self._chance.between(0.75, 1.05)
        throttle.angle_deg = throttle.spring_deg
        throttle.release()

    def act_disconnect_battery(self) -> None:
        """Disconnect the battery and connect it again: what the battery keeps is lost; the key must be off."""
        self._need_key_off()
        self.disconnect_battery()
        self.other_side.supply_was_off = True

    def act_learn_window(self) -> None:
        """Run the driver's window to both ends, as is done after the battery was off."""
        if not self.powertrain.key_on:
            raise self._impossible("the window moves with the key on only")
        self.other_side.supply_was_off = False

    def act_set_ambient(self, celsius: float, kilopascal: float | None = None) -> None:
        """Set the air outside; everything follows at its own pace."""
        self.powertrain.temperatures.ambient_c = celsius
        if kilopascal is not None:
            self.powertrain.ambient_pa = kilopascal * 1e3

    # -- helpers ---------------------------------------------------------------------------------------------------

    def _throttle(self, *, fitted: bool):
        self._need_key_off()
        throttle = self.powertrain.throttle
        if throttle.fitted != fitted:
            raise self._impossible("the throttle body is " + ("not fitted" if fitted else "still fitted"))
        return throttle

    def _need_key_off(self) -> None:
        if self.powertrain.key_on:
            raise self._impossible("the key must be off for this")

    def _share(self, percent: float, what: str) -> float:
        if not 0.0 <= percent <= 100.0:
            raise self._impossible(f"{what} {percent} % is outside 0 to 100 %")
        return percent / 100.0

    def _impossible(self, why: str) -> InputError:
        return InputError(Code.ACT_UNKNOWN, why, where=f"{MAKE} {MODEL}")
