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

from ..car import Json
from ..memory import Memory
from ..physics.drive import Drive, DriveSpec
from ..physics.noise import Noise
from ..physics.steady import learned_idle_air
from ..physics.throttle import Throttle
from .engine_acts import EngineActs
from .identity import draw_identity, make_vin
from .petrol_base import PetrolBase
from .petrol_body import put_new
from .petrol_diary import Diary
from .petrol_engine import engine_module
from .petrol_faults import PETROL_FAULTS
from .petrol_hand_learn import HandLearn
from .petrol_others import OtherSide, other_modules
from .petrol_side import EngineSide
from .petrol_sizes import build_powertrain, learnt


class PetrolCar(EngineActs, PetrolBase):
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
            self.powertrain.temperatures.warm()
        self.vin = make_vin("L16DT", "K", chance.whole(100_000, 999_999))
        drive = Drive(DriveSpec())
        self.engine_side = self._engine_side(seed, chance, drive)
        self.hand_learn = HandLearn(self.engine_side)
        self.other_side = self._other_side(chance)
        identity = draw_identity(chance, "ENG", 1620, "ENGINE")
        self.engine = engine_module(self.engine_side, memory, identity, self.vin, "ECM-EngineControl")
        self.engine_side.lamp = self.engine.codes.lamp
        gateway, *others = other_modules(self.other_side)
        super().__init__("petrol", [gateway, self.engine, *others], PETROL_FAULTS, self.engine_side, drive, seed)

    def advance_to(self, t_s: float) -> None:
        """Bring physics and module to car time t_s, s."""
        super().advance_to(t_s)
        self.hand_learn.step(t_s)

    def _engine_side(self, seed: int, chance: Noise, drive: Drive) -> EngineSide:
        train = self.powertrain
        diary = Diary(train, chance.between(90.0, 400.0) * 3600.0, chance.whole(60, 250), chance.between(3e4, 16e4))
        return EngineSide(
            powertrain=train,
            electronic=train,
            values=self.values,
            long_trim=self.values.long_trim,
            diary=diary,
            sensing=Noise(seed, "sensors"),
            pace=chance.between(0.85, 1.25),
            pedal_rest_pct=chance.between(14.5, 17.0),
            speed_km_h=lambda: drive.speed_km_h,
            selector=lambda: drive.selector,
            brake=lambda: drive.brake > 0.0,
        )

    def _other_side(self, chance: Noise) -> OtherSide:
        train, side = self.powertrain, self.engine_side
        return OtherSide(
            vin=self.vin,
            chance=chance,
            running=lambda: train.running,
            key_on=lambda: train.key_on,
            volts=lambda: train.module_v,
            speed_km_h=side.speed_km_h,
            distance_km=lambda: side.diary.distance_km,
            fuel_share=lambda: train.fuel_l / 50.0,
            coolant_c=lambda: train.temperatures.sensed_c,
            brake=side.brake,
            tail_lamp_broken=chance.whole(0, 1) == 1,
        )

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only: sizes, angles, areas and learned values as they are."""
        train, throttle = self.powertrain, self.powertrain.throttle
        return {
            **super().truth(),
            "vin": self.vin,
            "deposits": throttle.deposits,
            "throttle fitted": throttle.fitted,
            "true lower stop, %": throttle.reading_a(throttle.stop_deg),
            "learned lower stop, %": self.values.stop.value,
            "spring rest without friction, %": throttle.reading_a(throttle.spring_deg),
            "rest may differ by, %": throttle.hold_deg / throttle.spec.span_deg * 100.0,
            "plate above stop, degrees": throttle.angle_deg - throttle.stop_deg,
            "throttle effective area, mm²": throttle.area_m2 * 1e6,
            "idle air to be learned, g/s": learned_idle_air(train),
        }

    def save_physics(self) -> dict[str, Json]:
        """State of the physics as JSON values."""
        return {**super().save_physics(), "supply was off": self.other_side.supply_was_off}

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave."""
        super().restore_physics(state)
        self.other_side.supply_was_off = bool(state["supply was off"])

    # -- acts of the workshop --------------------------------------------------------------------------------------

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
        throttle.rotor_deg -= self.chance.between(0.75, 1.05)
        throttle.angle_deg = throttle.spring_deg
        throttle.release()

    def act_disconnect_battery(self) -> None:
        """Disconnect the battery and connect it again: what the battery keeps is lost; the key must be off."""
        super().act_disconnect_battery()
        self.other_side.supply_was_off = True

    def act_replace_body(self, part: str = "") -> None:
        """Fit a new body module, blank, with the part number ordered (else the old one's); the key must be off."""
        self.need_key_off()
        if part and len(part) != len(self.module("body").peek(0xF187)):
            raise self.impossible(f"{part!r} is no part number of this kind")
        put_new(self.rewrite, self.chance, part)

    def act_learn_window(self) -> None:
        """Run the driver's window to both ends, as is done after the battery was off."""
        if not self.powertrain.key_on:
            raise self.impossible("the window moves with the key on only")
        self.other_side.supply_was_off = False

    def _throttle(self, *, fitted: bool) -> Throttle:
        self.need_key_off()
        throttle = self.powertrain.throttle
        if throttle.fitted != fitted:
            raise self.impossible("the throttle body is " + ("not fitted" if fitted else "still fitted"))
        return throttle
