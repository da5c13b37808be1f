"""The older petrol bench car: an Aldra 1.6 with a cable throttle, two modules on a K-line that speak KWP2000.

Idle air goes through a bypass valve that clogs. The engine module recognises the foot off by the throttle sensor's
learned rest; after the sensor was replaced it does not, idles on a fixed bypass, and wants the rest learned by hand
(foot off, full, off, within twenty seconds after key on). Example::

    car = CableCar(seed=3)
    car.attach(bus, clock, line)         # the bus stays silent: this car has none
    car.act("key", position="on")
"""

from __future__ import annotations

from collections.abc import Mapping
from struct import pack

from asleft.model.errors import Code, InputError

from ..car import Json
from ..identifiers import Identifier, live, number, text
from ..kwp import KwpModule, KwpTiming
from ..memory import Kept, LearnedValue, Memory
from ..module import ControlModule
from ..physics.cable_throttle import BypassControl, CableSpec, CableThrottle
from ..physics.drive import Drive, DriveSpec
from ..physics.noise import Noise
from ..physics.powertrain import Powertrain
from ..physics.steady import per_area, warm_idle_area
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .cable_faults import CABLE_FAULTS
from .identity import Identity, draw_identity, make_vin
from .petrol_base import PetrolBase
from .petrol_codes import shared_codes
from .petrol_diary import Diary
from .petrol_obd import engine_obd, shared_values
from .petrol_side import TrainSide
from .petrol_sizes import put_together

CableTrain = Powertrain[CableThrottle, BypassControl]

#: Addresses on the line and local identifiers of the bench's own making.
ENGINE, BRAKES = 0x11, 0x28
REST, BYPASS, IDLE_AIR, TARGET, FOOT_OFF = 0x21, 0x22, 0x23, 0x24, 0x25
LEARN_IDLE = 0x41


class CableCar(PetrolBase):
    """One older petrol car.

    Args: seed: which car of the model. cleaned: share of the deposits that cleaning takes away. ambient_c: air outside.
        warm: arrives at working temperature.
    """

    def __init__(self, seed: int = 0, cleaned: float = 1.0, ambient_c: float = 21.0, *, warm: bool = False) -> None:
        chance, sizes, memory = Noise(seed, "identity"), Noise(seed, "sizes"), Memory()
        self.cleaned = cleaned
        throttle = CableThrottle(_spec(sizes), seed, deposits=1.0)
        self.rest = LearnedValue(memory, "rest", default=11.0, low=7.0, high=16.0, kept=Kept.LASTING, unit="%")
        self.rest.learn(throttle.steady_sensor)
        self.air = LearnedValue(memory, "idle air", default=0.0, low=-1.3, high=1.3, unit="g/s")
        trim = LearnedValue(memory, "long-term trim", default=0.0, low=-0.25, high=0.25)
        control = BypassControl(throttle, self.rest)
        self.powertrain: CableTrain = put_together(seed, sizes, throttle, control, (self.air, trim), ambient_c)
        self.air.learn(learned_bypass_air(self.powertrain))
        if warm:
            self.powertrain.temperatures.warm()
        self.vin = make_vin("L16CT", "4", chance.whole(100_000, 999_999))
        drive = Drive(DriveSpec())
        hours = chance.between(90.0, 400.0)
        side = TrainSide(
            powertrain=self.powertrain,
            diary=Diary(self.powertrain, hours * 3600.0, chance.whole(60, 250), chance.between(1e5, 3e5)),
            long_trim=trim,
            sensing=Noise(seed, "sensors"),
            speed_km_h=lambda: drive.speed_km_h,
            selector=lambda: drive.selector,
            brake=lambda: drive.brake > 0.0,
        )
        self.engine = self._engine(side, memory, draw_identity(chance, "ENC", 940, "ENGINE"))
        side.lamp = self.engine.codes.lamp
        self.engine_side = side
        brakes = _brakes(side, draw_identity(chance, "ABC", 510, "BRAKES"), self.vin)
        super().__init__("cable", [self.engine, brakes], CABLE_FAULTS, side, drive, seed)

    def _engine(self, side: TrainSide, memory: Memory, identity: Identity) -> KwpModule:
        train = self.powertrain
        values = shared_values(side) | {
            0x11: lambda: train.throttle.sensor_a,
            0x45: lambda: max(0.0, train.throttle.sensor_a - self.rest.value),
        }
        for pid in (0x43, 0x44, 0x46, 0x4D, 0x4E, 0x3C):  # newer than this car
            values.pop(pid)
        return KwpModule(
            "engine",
            ENGINE,
            memory=memory,
            identifiers=[*_identification(identity, self.vin), *self._identifiers(train)],
            routines=[self._learn_idle(train)],
            codes=[*_throttle_codes(train), *shared_codes(side)],
            obd=engine_obd(side, values, identity, self.vin, "ECM-EngineControl"),
            timing=KwpTiming(latency_s=0.028, p1_s=0.001, boot_s=0.3),
            busy=lambda: side.busy,
        )

    def _identifiers(self, train: CableTrain) -> list[Identifier]:
        return [
            number(REST, "learned rest of the throttle sensor: 0.01 %", lambda: self.rest.value, scale=0.01),
            number(BYPASS, "bypass valve: 0.5 %", lambda: train.throttle.bypass * 100.0, scale=0.5, size=1),
            live(IDLE_AIR, "learned idle air: mg/s signed", lambda: pack(">h", round(self.air.value * 1e3))),
            number(TARGET, "idle target: 0.25 1/min", lambda: train.idle.target_rpm, scale=0.25),
            live(FOOT_OFF, "foot recognised off: 0 or 1", lambda: bytes([train.plate.released])),
        ]

    def _learn_idle(self, train: CableTrain) -> Routine:
        def store() -> RoutineState:
            stored = self.air.learn(self.air.value + train.idle.integral_g_s)
            if stored:
                train.idle.rest()
            return RoutineState.STORED if stored else RoutineState.REFUSED

        return Routine(
            LEARN_IDLE,
            "idle relearn",
            sessions=frozenset({0x87}),
            start_conditions=(
                refuse_if(lambda: not train.running or train.run_s < 60.0, 0x22),
                refuse_if(lambda: train.temperatures.sensed_c < 75.0, 0x22),
                refuse_if(lambda: not train.plate.released, 0x22),
            ),
            takes_s=12.0,
            on_end=store,
        )

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only."""
        throttle = self.powertrain.throttle
        return {
            **super().truth(),
            "vin": self.vin,
            "deposits": throttle.deposits,
            "throttle fitted": throttle.fitted,
            "bypass": throttle.bypass,
            "throttle effective area, mm²": throttle.area_m2 * 1e6,
            "true rest, %": throttle.steady_sensor if throttle.pedal <= 0.0 else None,
            "learned rest, %": self.rest.value,
            "idle air to be learned, g/s": learned_bypass_air(self.powertrain),
        }

    # -- acts of the workshop --------------------------------------------------------------------------------------

    def act_clean_throttle(self, fraction: float | None = None) -> None:
        """Clean plate and bypass in place: share of the deposits taken away, 0 to 1; the key must be off."""
        self.need_key_off()
        self.powertrain.throttle.clean(self.cleaned if fraction is None else fraction)

    def act_replace_sensor(self) -> None:
        """Fit a new throttle sensor, which reads a little differently; the key must be off."""
        self.need_key_off()
        self.powertrain.throttle.sensor_pct = self.chance.between(1.4, 2.6)

    def module(self, name: str) -> ControlModule:
        """This car has no module on CAN. Raises InputError: always."""
        raise InputError(Code.ACT_UNKNOWN, f"{name} is not on CAN", where=self.name)


def learned_bypass_air(train: CableTrain, intake_c: float = 50.0) -> float:
    """Learned air, g/s, with which idle control needs no integral."""
    throttle, nominal = train.throttle, CableSpec()
    clean = 1.0 - throttle.spec.clog * throttle.deposits
    needed_mm2 = warm_idle_area(train, intake_c) * 1e6
    bypass = (needed_mm2 - throttle.closed_area_mm2) / (throttle.spec.bypass_mm2 * clean)
    asked_mm2 = train.plate.nominal_closed_mm2() + bypass * nominal.bypass_mm2
    return asked_mm2 * 1e-3 * per_area(train, intake_c) - train.idle.spec.warm_g_s


def _spec(chance: Noise) -> CableSpec:
    return CableSpec(
        gap_mm=chance.between(0.018, 0.024),
        screw_deg=chance.between(0.7, 0.9),
        clog=chance.between(0.18, 0.28),
        zero_pct=chance.between(10.0, 12.0),
    )


def _identification(identity: Identity, vin: str) -> list[Identifier]:
    """Identification options of 1A: 90 VIN, 91 hardware, 94 software, 95 version, 9B part (numbers recalled)."""
    return [
        text(0x90, "vehicle identification number", vin),
        text(0x91, "hardware number", identity.hardware),
        text(0x94, "software number", identity.software),
        text(0x95, "software version", identity.version),
        text(0x9B, "part number", identity.part),
    ]


def _throttle_codes(train: CableTrain) -> list[TroubleCode]:
    """The released pedal was never recognised while the engine idles by speed: the idle switch's code."""

    def unseen() -> bool | None:
        if not train.running or train.run_s < 20.0 or train.pedal > 0.02:
            return None
        return not train.plate.released

    return [
        TroubleCode(0x051000, "closed throttle not recognised", unseen, fail_s=5.0, lamp=True, emission=True),
        TroubleCode(0x012200, "throttle sensor: circuit low", lambda: not train.throttle.fitted, emission=True),
    ]


def _brakes(side: TrainSide, identity: Identity, vin: str) -> KwpModule:
    return KwpModule(
        "brakes",
        BRAKES,
        identifiers=[
            *_identification(identity, vin),
            live(0x31, "wheel speeds: 0.01 km/h, four", lambda: pack(">H", round(side.speed_km_h() * 100.0)) * 4),
            live(0x32, "foot brake: 0 or 1", lambda: bytes([side.brake()])),
        ],
        codes=[TroubleCode(0x500100, "supply voltage low", lambda: side.powertrain.module_v < 9.5, fail_s=2.0)],
        functional=frozenset(),
        timing=KwpTiming(latency_s=0.041, p1_s=0.002, boot_s=0.5),
    )
