"""What our petrol cars have in common: engine, drive, driver, supply, and the acts that go with them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from asleft.model.errors import Code, InputError

from ..car import AnyModule, Json
from ..gateway import GatewaySettings
from ..physics.consumers import CONSUMERS_A
from ..physics.drive import Drive
from ..physics.noise import Noise
from ..physics.powertrain import Powertrain
from ..physics.state import restore_part, save_part
from ..physics.steady import warm_idle_air
from .faults import Family, Fault
from .hand import Hand
from .petrol_diary import Diary
from .petrol_side import TrainSide
from .workshop_car import WorkshopCar


class PetrolBase(WorkshopCar):
    """A car with a petrol engine and an automatic gearbox.

    Derived classes make the parts first, then call this.

    Args: name, modules, faults, wiring: as `WorkshopCar`. side: of the engine module. drive: car and gearbox.
        seed: of the car.
    """

    def __init__(
        self,
        name: str,
        modules: list[AnyModule],
        faults: Mapping[str, Fault[Any]],
        side: TrainSide,
        drive: Drive,
        seed: int,
        wiring: GatewaySettings | None = None,
    ) -> None:
        super().__init__(name, modules, faults, wiring)
        self.drive = drive
        self.side = side
        self.train: Powertrain[Any, Any] = side.powertrain
        self.diary: Diary = side.diary
        self.train.drag = drive.step
        self.train.alive = lambda: drive.moving
        self.chance = Noise(seed, "workshop")
        self.hand = Hand(self.later, self._move_pedal, self._turn_key)

    # -- time and truth --------------------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring the physics and the engine module's counters to car time t_s, s."""
        self.train.wind_m_s = abs(self.drive.speed_m_s)
        self.train.advance_to(t_s)
        self.side.advance()
        self.diary.advance(self.drive.speed_km_h, self.side.lamp())

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only."""
        train = self.train
        return {
            "leak effective area, mm²": train.defects.leak_m2 * 1e6,
            "idle target, 1/min": train.idle.target_rpm,
            "engine speed, 1/min": train.crank.rpm,
            "air, g/s": train.air_kg_s * 1e3,
            "warm idle air, g/s": warm_idle_air(train) * 1e3,
            "learned idle air, g/s": train.idle.learned.value,
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
            "powertrain": save_part(self.train),
            "diary": save_part(self.diary),
            "sensing": self.side.sensing.save(),
            "engine module": self.side.save_more(),
            "workshop": self.chance.save(),
            "drive": save_part(self.drive),
            "faults": dict(self.faults.active),
        }

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave; faults of the link are of the link and not taken over."""
        for name, size in state["faults"].items():
            if self.faults.of(name).family is not Family.LINK:
                self.faults.put(name, size)
        restore_part(self.train, state["powertrain"])
        restore_part(self.diary, state["diary"])
        self.side.sensing.restore(state["sensing"])
        self.side.restore_more(state["engine module"])
        self.chance.restore(state["workshop"])
        restore_part(self.drive, state["drive"])

    # -- acts of the driver ----------------------------------------------------------------------------------------

    def act_key(self, position: str) -> None:
        """Turn the key: off, on, start."""
        if position not in {"off", "on", "start"}:
            raise self.impossible(f"no key position {position!r}: off, on or start")
        if position == "start" and self.drive.selector not in {"P", "N"}:
            raise self.impossible("it starts in P or N only")
        self.hand.turn(position)

    def act_pedal(self, percent: float) -> None:
        """Press the accelerator to a share of its travel, 0 to 100 %."""
        self.hand.press(self.share(percent, "pedal"))

    def _turn_key(self, position: str) -> None:
        train = self.train
        if position != "off" and not train.key_on:
            self.diary.cycle()
        train.key(position != "off")
        self.set_power(position != "off")
        if position == "start":
            train.start()

    def _move_pedal(self, share: float) -> None:
        self.train.foot = share

    def act_brake(self, pressed: bool, percent: float = 40.0) -> None:
        """Press the foot brake to a share of its force, 0 to 100 %, or release it."""
        self.drive.brake = self.share(percent, "brake") if pressed else 0.0

    def act_parking_brake(self, on: bool) -> None:
        """Apply or release the parking brake."""
        self.drive.parking = on

    def act_selector(self, position: str) -> None:
        """Move the selector: P, R, N, D. Out of P only with the foot brake pressed."""
        if position not in {"P", "R", "N", "D"}:
            raise self.impossible(f"no selector position {position!r}: P, R, N or D")
        drive = self.drive
        if drive.selector == "P" and position != "P" and drive.brake <= 0.0:
            raise self.impossible("the selector is locked in P until the foot brake is pressed")
        if {drive.selector, position} in ({"D", "R"}, {"D", "P"}, {"N", "P"}, {"R", "P"}) and drive.speed_km_h > 3.0:
            raise self.impossible("the car is moving")
        drive.selector = position

    def act_load(self, name: str, on: bool) -> None:
        """Switch an electrical consumer: lamps, rear heater, blower, cooler, radio."""
        if name not in CONSUMERS_A:
            raise self.impossible(f"no consumer {name!r}; there are {', '.join(CONSUMERS_A)}")
        self.train.switch(name, on)

    # -- acts of the workshop --------------------------------------------------------------------------------------

    def act_charger(self, on: bool, volts: float = 13.6, limit_a: float = 50.0) -> None:
        """Connect or take off a support unit that holds a voltage up to a current."""
        supply = self.train.supply
        supply.charger_v = volts if on else 0.0
        supply.charger_a = limit_a

    def act_disconnect_battery(self) -> None:
        """Disconnect the battery and connect it again: what the battery keeps is lost; the key must be off."""
        self.need_key_off()
        self.disconnect_battery()

    def act_set_ambient(self, celsius: float, kilopascal: float | None = None) -> None:
        """Set the air outside; everything follows at its own pace."""
        self.train.temperatures.ambient_c = celsius
        if kilopascal is not None:
            self.train.ambient_pa = kilopascal * 1e3

    # -- helpers ---------------------------------------------------------------------------------------------------

    def need_key_off(self) -> None:
        """Raise InputError unless the key is off."""
        if self.train.key_on:
            raise self.impossible("the key must be off for this")

    def share(self, percent: float, what: str) -> float:
        """A share from percent. Raises InputError: outside 0 to 100 %."""
        if not 0.0 <= percent <= 100.0:
            raise self.impossible(f"{what} {percent} % is outside 0 to 100 %")
        return percent / 100.0

    def impossible(self, why: str) -> InputError:
        """The error for an act that cannot be done, with its reason."""
        return InputError(Code.ACT_UNKNOWN, why, where=self.name)
