"""The crankshaft: what combustion gives, what friction, pumping and accessories take, and the speed that results.

Source: mean-effective-pressure balance of a four-stroke engine (any text on engines); figures are common practice, no
source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi

#: Stoichiometric air-fuel ratio and lower heating value (J/kg) of petrol: common practice, from memory.
AIR_FUEL = 14.7
HEAT_VALUE = 43.0e6

#: rad/s per rpm.
RAD_S = pi / 30.0


@dataclass(frozen=True)
class EngineSpec:
    """Sizes of a four-stroke petrol engine.

    Attributes:
        swept_m3: displacement. breathing: volumetric efficiency at low speed, related to the manifold.
        efficiency: indicated efficiency at the best spark. best_spark_deg: that spark.
        friction_pa: friction mean pressure at rest, warm; friction_rpm_pa: more per rpm; friction_cold_pa: more at
        20 °C. inertia_kg_m2: crank with what it carries. roughness: scatter from one firing to the next.
    """

    swept_m3: float = 1.598e-3
    breathing: float = 0.80
    efficiency: float = 0.375
    best_spark_deg: float = 26.0
    friction_pa: float = 0.62e5
    friction_rpm_pa: float = 11.0
    friction_cold_pa: float = 0.75e5
    inertia_kg_m2: float = 0.16
    roughness: float = 0.045


def friction_nm(spec: EngineSpec, rpm: float, coolant_c: float) -> float:
    """Friction torque, N·m: warm part, part rising with speed, part that fades as the oil warms."""
    cold = spec.friction_cold_pa * exp(-(coolant_c - 20.0) / 28.0)
    return spec.swept_m3 / (4.0 * pi) * (spec.friction_pa + spec.friction_rpm_pa * rpm + cold)


def pumping_nm(spec: EngineSpec, ambient_pa: float, manifold_pa: float) -> float:
    """Torque to draw from the manifold pressure and push out against the outside, N·m."""
    return spec.swept_m3 / (4.0 * pi) * (ambient_pa - manifold_pa)


def swept_m3_s(spec: EngineSpec, rpm: float) -> float:
    """Volume at manifold density drawn per second, m³/s; breathing rises a little with speed, then falls."""
    high = rpm / 1000.0
    return spec.breathing * (1.0 + 0.05 * high - 0.008 * high * high) * spec.swept_m3 * rpm / 120.0


def spark_share(spec: EngineSpec, spark_deg: float) -> float:
    """Share of the best torque that a spark angle gives, 0 to 1."""
    off = spec.best_spark_deg - spark_deg
    return max(0.1, 1.0 - 5.5e-4 * off * off)


class Crank:
    """Speed and torque of the crankshaft. ``torque_nm`` is what combustion gives, delayed by two strokes.

    ``misfire`` is the share of firings that fail.
    """

    CHANGES = ("misfire", "rpm", "torque_nm")
    __slots__ = ("misfire", "rpm", "spec", "torque_nm")

    def __init__(self, spec: EngineSpec) -> None:
        self.spec = spec
        self.rpm = 0.0
        self.misfire = 0.0
        self.torque_nm = 0.0

    def burn(self, dt_s: float, air_kg_s: float, lambda_: float, spark_deg: float, noise: float) -> float:
        """Combustion over one step.

        Args: air_kg_s: air burnt. lambda_: air ratio. spark_deg: before top dead centre. noise: a normal number.
        Returns: power of the fuel burnt, W.
        """
        spec = self.spec
        rpm = max(self.rpm, 60.0)
        lean = max(0.0, lambda_ - 1.0)
        fuel_w = air_kg_s / (AIR_FUEL * max(lambda_, 1.0)) * HEAT_VALUE
        share = spec.efficiency * spark_share(spec, spark_deg) * max(0.0, 1.0 - 4.0 * lean * lean)
        firing_s = 30.0 / rpm
        rough = spec.roughness + (0.8 * self.misfire**0.5 if self.misfire > 0.0 else 0.0)
        mean = (1.0 - self.misfire) * fuel_w * share / (rpm * RAD_S)
        goal = mean * (1.0 + rough * noise * (firing_s / dt_s) ** 0.5)
        self.torque_nm = goal + (self.torque_nm - goal) * exp(-dt_s / (1.5 * firing_s))
        return fuel_w

    def turn(self, dt_s: float, taken_nm: float, starter_nm: float) -> None:
        """Advance the speed by ``dt_s`` under what is taken and what the starter gives, N·m."""
        change = (self.torque_nm + starter_nm - taken_nm) / self.spec.inertia_kg_m2 * dt_s / RAD_S
        self.rpm = max(0.0, self.rpm + change)
