"""The diesel bench car: a Dunmere 1.9 automatic whose injectors want their codes and whose return valve clogs.

An injector's code stands on the injector; the act `read_injector_label` reads it there. What the module was told of it
can be read back, and shows in what smoothness control has to add to each cylinder. Example::

    car = DieselCar(seed=4)
    car.act("replace_injector", cylinder=3)
    car.act("read_injector_label", cylinder=3)
"""

from __future__ import annotations

from collections.abc import Mapping

from ..car import Json
from ..memory import LearnedValue, Memory
from ..module import Address, ControlModule, Timing
from ..physics.crank import Crank, EngineSpec
from ..physics.diesel import DieselTrain
from ..physics.drive import Drive, DriveSpec
from ..physics.exhaust_return import IntakeFlap, ReturnControl, ReturnValve
from ..physics.fuel import FuelControl, FuelSpec
from ..physics.heat import CoolingSpec, Temperatures
from ..physics.idle import IdleControl, IdleSpec
from ..physics.injectors import Injectors
from ..physics.manifold import Manifold
from ..physics.noise import Noise
from ..physics.parts import Parts
from ..physics.pedal import PedalUnit
from ..physics.supply import Battery, BatterySpec, Supply
from ..trouble_memory import TroubleCode
from .diesel_engine import DieselSide, diesel_engine, learned_return
from .diesel_faults import DIESEL_FAULTS
from .identity import draw_identity, identification, make_vin
from .petrol_base import PetrolBase
from .petrol_diary import Diary


class DieselCar(PetrolBase):
    """One diesel.

    Args: seed: which car of the model. ambient_c: air outside. warm: arrives at working temperature.
    """

    def __init__(self, seed: int = 0, ambient_c: float = 21.0, *, warm: bool = False) -> None:
        chance, memory = Noise(seed, "identity"), Memory()
        closed, span = learned_return(memory)
        self.injectors = Injectors(seed)
        self.powertrain = _train(seed, self.injectors, closed, memory, ambient_c)
        valve = self.powertrain.plate.valve
        closed.learn(valve.steady_pct)
        span.learn(66.0)
        if warm:
            self.powertrain.temperatures.warm()
        self.vin = make_vin("D19AT", "M", chance.whole(100_000, 999_999), "EZD")
        drive = Drive(DriveSpec(mass_kg=1590.0, capacity_nm=24.0))
        self.engine_side = DieselSide(
            powertrain=self.powertrain,
            diary=Diary(self.powertrain, chance.between(90.0, 400.0) * 3600.0, 150, chance.between(4e4, 2e5)),
            long_trim=LearnedValue(memory, "long-term trim", default=0.0, low=-0.25, high=0.25),
            sensing=Noise(seed, "sensors"),
            speed_km_h=lambda: drive.speed_km_h,
            selector=lambda: drive.selector,
            brake=lambda: drive.brake > 0.0,
            diesel=self.powertrain,
            pedal_unit=PedalUnit(chance.between(14.5, 17.0), seed),
            closed=closed,
            span=span,
            memory=memory,
        )
        identity = draw_identity(chance, "EDC", 1910, "ENGINE")
        self.engine = diesel_engine(self.engine_side, identity, self.vin, self.injectors.label)
        self.engine_side.lamp = self.engine.codes.lamp
        brakes = _plain(chance, "brakes", Address.normal(0x713, 0x71B), "DAB", 330, self)
        body = _plain(chance, "body", Address.normal(0x726, 0x72E), "DBC", 871, self)
        super().__init__("diesel", [self.engine, brakes, body], DIESEL_FAULTS, self.engine_side, drive, seed)

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only."""
        train, valve = self.powertrain, self.powertrain.plate.valve
        return {
            "vin": self.vin,
            "engine speed, 1/min": train.crank.rpm,
            "idle target, 1/min": train.idle.target_rpm,
            "coolant, °C": train.temperatures.coolant_c,
            "supply, V": train.supply.volts,
            "speed, km/h": self.drive.speed_km_h,
            "air, g/s": train.air_kg_s * 1e3,
            "injector labels": list(self.injectors.label),
            "injector error left, mg": [
                error + worn - told.value
                for error, worn, told in zip(
                    self.injectors.error_mg, self.injectors.worn_mg, train.told, strict=True
                )
            ],
            "spread of the cylinders, mg": train.spread_mg,
            "return valve open, %": valve.open_pct,
            "return valve closed reads, %": valve.steady_pct if valve.open_pct <= valve.seat_pct + 0.1 else None,
            "return valve closed learned, %": self.engine_side.closed.value,
            "faults": dict(self.faults.active),
        }  # fmt: skip

    # -- acts of the workshop --------------------------------------------------------------------------------------

    def act_replace_injector(self, cylinder: int) -> None:
        """Fit a new injector into a cylinder, 1 to 4; the key must be off. Its code is on its label."""
        self.need_key_off()
        self.injectors.fit(self._place(cylinder))

    def act_swap_injectors(self, one: int, other: int) -> None:
        """Exchange the injectors of two cylinders; the key must be off."""
        self.need_key_off()
        a, b = self._place(one), self._place(other)
        parts = self.injectors
        for values in (parts.error_mg, parts.worn_mg):
            values[a], values[b] = values[b], values[a]
        parts.label[a], parts.label[b] = parts.label[b], parts.label[a]

    def act_read_injector_label(self, cylinder: int) -> str:
        """Read the code on the injector that sits in a cylinder, 1 to 4."""
        return self.injectors.label[self._place(cylinder)]

    def act_clean_return_valve(self) -> None:
        """Clean the return valve's seat and fit it again: it closes fully, its sensor sits a little differently."""
        self.need_key_off()
        valve = self.powertrain.plate.valve
        valve.seat_pct = valve.stiction_pct = valve.open_pct = 0.0
        valve.offset_pct += self.chance.between(1.4, 2.2) * (-1.0 if valve.offset_pct > 0.0 else 1.0)

    def act_replace_return_valve(self) -> None:
        """Fit a new return valve; the key must be off. The module is told that it has not learned it."""
        self.act_clean_return_valve()
        self.powertrain.plate.valve.travel_pct = 100.0
        self.engine_side.closed.forget()

    def _place(self, cylinder: int) -> int:
        if not 1 <= cylinder <= 4:
            raise self.impossible(f"no cylinder {cylinder}: 1 to 4")
        return cylinder - 1


def _train(seed: int, injectors: Injectors, closed: LearnedValue, memory: Memory, ambient_c: float) -> DieselTrain:
    chance = Noise(seed, "sizes")
    engine = EngineSpec(
        swept_m3=1.896e-3, friction_pa=0.95e5, friction_rpm_pa=14.0, inertia_kg_m2=0.24, roughness=0.02, breathing=0.84
    )
    air = LearnedValue(memory, "idle air", default=0.0, low=-1.0, high=1.0)
    trim = LearnedValue(memory, "trim", default=0.0, low=-0.25, high=0.25)
    parts = Parts(
        throttle=IntakeFlap(),
        manifold=Manifold(2.2e-3, 101_000.0, ambient_c + 273.15),
        crank=Crank(engine),
        temperatures=Temperatures(CoolingSpec(opens_c=chance.between(82.0, 86.0), capacity_j_k=30e3), ambient_c),
        supply=Supply(Battery(BatterySpec(capacity_ah=75.0, inner_ohm=0.007), charge=chance.between(0.75, 0.92))),
        plate=ReturnControl(ReturnValve(seed), closed),
        idle=IdleControl(IdleSpec(warm_rpm=float(chance.whole(76, 82) * 10), cold_rpm=180.0, start_rpm=150.0), air),
        fuel=FuelControl(FuelSpec(), trim),
        noise=Noise(seed, "combustion"),
        alternator_v=chance.between(14.1, 14.4),
    )
    train = DieselTrain(parts, injectors, [air] * 4, chance.between(99_500.0, 101_800.0))
    train.fuel_l = chance.between(18.0, 45.0)
    return train


def _plain(chance: Noise, name: str, address: Address, letters: str, number: int, car: DieselCar) -> ControlModule:
    """A module that identifies itself and has a code for a low supply."""
    train = car.powertrain

    def low() -> bool | None:
        return train.module_v < 9.5 if train.key_on else None

    code = (0x5010 if name == "brakes" else 0x9020) << 8 | 0x16
    return ControlModule(
        name,
        address,
        identifiers=identification(draw_identity(chance, letters, number, name.upper()), car.vin),
        codes=[TroubleCode(code, "supply voltage low", low, fail_s=2.0)],
        timing=Timing(latency_s=chance.between(0.004, 0.02), jitter_s=0.006, boot_s=chance.between(0.2, 0.6)),
    )
