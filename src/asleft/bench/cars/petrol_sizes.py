"""Sizes of one petrol bench car, drawn from its seed, and its powertrain built from them.

No two cars are alike: sizes, sensor offsets, deposits and learned values scatter as parts do. All figures are invented
within what is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..memory import Kept, LearnedValue, Memory
from ..physics.crank import Crank, EngineSpec
from ..physics.fuel import FuelControl, FuelSpec
from ..physics.heat import CoolingSpec, Temperatures
from ..physics.idle import IdleControl, IdleSpec
from ..physics.manifold import Manifold
from ..physics.noise import Noise
from ..physics.parts import BodyT, ControlT, Parts
from ..physics.plate_control import PlateControl, PlateSpec
from ..physics.powertrain import Powertrain
from ..physics.steady import learned_idle_air
from ..physics.supply import Battery, BatterySpec, Supply
from ..physics.throttle import Throttle, ThrottleSpec

#: What the engine module assumes of every throttle of this model.
NOMINAL = PlateSpec(bore_mm=52.0, closed_deg=5.5, gap_mm=0.025, discharge=0.70, span_deg=118.0)

#: Window of what the module accepts as a lower stop and as a spring rest, % of sensor A.
STOP_WINDOW_PCT = (8.0, 18.0)
REST_WINDOW_PCT = (11.0, 24.0)


#: A powertrain with an electronic throttle.
ElectronicTrain = Powertrain[Throttle, PlateControl]


@dataclass(frozen=True)
class Learnt:
    """Learned values of the engine module, in its memory."""

    stop: LearnedValue
    rest: LearnedValue
    idle_air: LearnedValue
    long_trim: LearnedValue


def throttle_spec(chance: Noise) -> ThrottleSpec:
    """Sizes of one throttle body."""
    return ThrottleSpec(
        bore_mm=52.0,
        closed_deg=chance.between(5.2, 5.8),
        gap_mm=chance.between(0.024, 0.032),
        gum_fill=chance.between(0.65, 0.85),
        film_deg=chance.between(0.9, 1.3),
        rest_deg=chance.between(5.2, 6.2),
        hold_clean_deg=chance.between(0.02, 0.05),
        hold_dirty_deg=chance.between(1.5, 1.9),
        discharge=chance.between(0.68, 0.72),
        span_deg=118.0,
        zero_pct=chance.between(11.5, 14.5),
        slope_a=chance.between(0.99, 1.01),
        slope_b=chance.between(0.99, 1.01),
        offset_b_pct=chance.between(-0.8, 0.8),
        lag_s=chance.between(0.030, 0.045),
    )


def learnt(memory: Memory) -> Learnt:
    """The learned values in their cells, with defaults of a new module."""
    low, high = STOP_WINDOW_PCT
    stop = LearnedValue(memory, "lower stop", default=12.5, low=low, high=high, kept=Kept.LASTING, unit="%")
    low, high = REST_WINDOW_PCT
    rest = LearnedValue(memory, "spring rest", default=17.0, low=low, high=high, kept=Kept.LASTING, unit="%")
    air = LearnedValue(memory, "idle air", default=0.0, low=-1.3, high=1.3, kept=Kept.BATTERY, unit="g/s")
    trim = LearnedValue(memory, "long-term trim", default=0.0, low=-0.25, high=0.25, kept=Kept.BATTERY)
    return Learnt(stop, rest, air, trim)


def build_powertrain(
    seed: int, values: Learnt, ambient_c: float, *, swept_l: float = 1.598, deposits: float = 1.0
) -> ElectronicTrain:
    """The powertrain of one car as it comes into the workshop: with deposits, everything learned long ago.

    Args: swept_l: displacement. deposits: in the throttle, 0 to 1.
    """
    chance = Noise(seed, "sizes")
    throttle = Throttle(throttle_spec(chance), seed, deposits)
    values.stop.learn(throttle.reading_a(throttle.stop_deg))
    values.rest.learn(throttle.reading_a(throttle.spring_deg))
    plate = PlateControl(NOMINAL, throttle, values.stop, values.rest)
    learned = (values.idle_air, values.long_trim)
    powertrain = put_together(seed, chance, throttle, plate, learned, ambient_c, swept_l=swept_l)
    values.idle_air.learn(learned_idle_air(powertrain))
    return powertrain


def put_together(
    seed: int,
    chance: Noise,
    body: BodyT,
    control: ControlT,
    learned: tuple[LearnedValue, LearnedValue],
    ambient_c: float,
    *,
    swept_l: float = 1.598,
) -> Powertrain[BodyT, ControlT]:
    """A powertrain round what lets its air in.

    Args: chance: draws sizes. body, control: throttle and what moves it. learned: idle air and long-term trim.
        swept_l: displacement.
    """
    idle_air, long_trim = learned
    engine = EngineSpec(
        swept_m3=swept_l * 1e-3, efficiency=chance.between(0.385, 0.405), roughness=chance.between(0.035, 0.055)
    )
    usual = IdleSpec()
    share = swept_l / 1.598
    idle = IdleSpec(
        warm_rpm=float(chance.whole(67, 74) * 10),
        warm_g_s=usual.warm_g_s * (0.25 + 0.75 * share),
        cold_g_s=usual.cold_g_s * share,
    )
    fuel = FuelSpec(injector_error=chance.between(-0.03, 0.03))
    cooling = CoolingSpec(opens_c=chance.between(81.0, 85.0), capacity_j_k=chance.between(23e3, 27e3))
    battery = Battery(BatterySpec(inner_ohm=chance.between(0.007, 0.011)), charge=chance.between(0.72, 0.92))
    long_trim.learn(-fuel.injector_error)
    parts = Parts(
        throttle=body,
        manifold=Manifold(2.4e-3, 101_000.0, ambient_c + 273.15),
        crank=Crank(engine),
        temperatures=Temperatures(cooling, ambient_c),
        supply=Supply(battery),
        plate=control,
        idle=IdleControl(idle, idle_air),
        fuel=FuelControl(fuel, long_trim),
        noise=Noise(seed, "combustion"),
        alternator_v=chance.between(14.1, 14.4),
    )
    powertrain = Powertrain(parts, ambient_pa=chance.between(99_500.0, 101_800.0))
    powertrain.fuel_l = chance.between(18.0, 42.0)
    return powertrain
