"""Steady warm idle in closed form: what an engine that has long been adapted has learned.

Used to give a new bench car the learned idle air it would have after months on the road, without driving months.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from .consumers import KEY_ON_A, RUNNING_A
from .crank import AIR_FUEL, HEAT_VALUE, RAD_S, friction_nm, pumping_nm, spark_share, swept_m3_s
from .flow import AIR_R, choked_flow_function
from .plate_control import PlateControl
from .powertrain import Powertrain
from .supply import Supply
from .throttle import Throttle, gap_area_mm2, plate_area_mm2

_KELVIN = 273.15


def warm_idle_air(powertrain: Powertrain[Any, Any], coolant_c: float = 89.0, intake_c: float = 50.0) -> float:
    """Air that the engine draws at its warm target speed with nothing switched on, kg/s.

    The manifold pressure at which combustion gives just what friction, pumping and alternator take, by bisection.
    """
    spec = powertrain.crank.spec
    rpm = powertrain.idle.spec.warm_rpm
    omega = rpm * RAD_S
    current = KEY_ON_A + RUNNING_A
    fixed = friction_nm(spec, rpm, coolant_c) + current * 13.8 / Supply.EFFICIENCY / omega
    share = spec.efficiency * spark_share(spec, powertrain.idle.spec.spark_deg)
    density = 1.0 / (AIR_R * (intake_c + 0.18 * (coolant_c - intake_c) + _KELVIN))
    swept = swept_m3_s(spec, rpm)
    low, high = 5e3, powertrain.ambient_pa
    for _ in range(50):
        pressure = 0.5 * (low + high)
        given = swept * pressure * density / AIR_FUEL * HEAT_VALUE * share / omega
        if given < fixed + pumping_nm(spec, powertrain.ambient_pa, pressure):
            low = pressure
        else:
            high = pressure
    return swept * low * density


def per_area(powertrain: Powertrain[Any, Any], intake_c: float) -> float:
    """Choked flow through one square metre of effective area, kg/(s m²)."""
    return powertrain.ambient_pa * choked_flow_function() / sqrt(AIR_R * (intake_c + _KELVIN))


def warm_idle_area(powertrain: Powertrain[Any, Any], intake_c: float = 50.0) -> float:
    """Effective area that the throttle must open at warm idle, m²: what is needed less leak and purge."""
    needed = warm_idle_air(powertrain, intake_c=intake_c) / per_area(powertrain, intake_c)
    return needed - powertrain.defects.leak_m2 - 0.28 * powertrain.purge_m2


def learned_idle_air(powertrain: Powertrain[Throttle, PlateControl], intake_c: float = 50.0) -> float:
    """Learned air, g/s, with which idle control needs no integral: given throttle, deposits, leak and purge.

    What the module must ask for so that its nominal throttle would open as far as the real one must.
    """
    throttle = powertrain.throttle
    spec = throttle.spec
    needed = warm_idle_area(powertrain, intake_c)
    low, high = 0.0, 20.0
    gap = gap_area_mm2(spec.bore_mm, spec.gap_mm) * (1.0 - spec.gum_fill * throttle.deposits)
    for _ in range(50):
        opening = 0.5 * (low + high)
        plate = plate_area_mm2(spec.bore_mm, throttle.stop_deg, throttle.stop_deg + opening)
        if spec.discharge * (gap + plate) * 1e-6 < needed:
            low = opening
        else:
            high = opening
    assumed = powertrain.plate.spec
    nominal = gap_area_mm2(assumed.bore_mm, assumed.gap_mm)
    nominal += plate_area_mm2(assumed.bore_mm, assumed.closed_deg, assumed.closed_deg + low)
    asked = assumed.discharge * nominal * 1e-6 * per_area(powertrain, intake_c)
    return asked * 1e3 - powertrain.idle.spec.warm_g_s
