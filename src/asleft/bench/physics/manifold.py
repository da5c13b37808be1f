"""The intake manifold: air in through openings, out into the cylinders.

State is the mass held; pressure follows from it. At idle the inflow is choked, so one step is an exact exponential;
otherwise one step is implicit and therefore stable at any opening. Both keep the balance: what came in less what went
out is what the mass grew by.
"""

from __future__ import annotations

from math import exp, sqrt
from typing import NamedTuple

from .flow import AIR_R, air_flow_function, choked_flow_function, critical_ratio

_CRITICAL = critical_ratio()
_CHOKED = choked_flow_function()
_ROUNDS = 40


class Flows(NamedTuple):
    """Mean mass flows over one step, kg/s."""

    inlet: float
    outlet: float


class Manifold:
    """Air held between throttle and valves; isothermal.

    Args: volume_m3: its volume. ambient_pa, temperature_k: what it is filled with at first.
    """

    CHANGES = ("mass_kg", "temperature_k")
    __slots__ = ("mass_kg", "temperature_k", "volume_m3")

    def __init__(self, volume_m3: float, ambient_pa: float, temperature_k: float) -> None:
        self.volume_m3 = volume_m3
        self.temperature_k = temperature_k
        self.mass_kg = ambient_pa * volume_m3 / (AIR_R * temperature_k)

    @property
    def pressure_pa(self) -> float:
        """Absolute pressure, Pa."""
        return self.mass_kg * AIR_R * self.temperature_k / self.volume_m3

    def fill(self, ambient_pa: float, temperature_k: float) -> None:
        """Engine at rest for long: the pressure outside, at a temperature in K."""
        self.temperature_k = temperature_k
        self.mass_kg = ambient_pa * self.volume_m3 / (AIR_R * temperature_k)

    def step(self, dt_s: float, cda_m2: float, p0_pa: float, t0_k: float, swept_m3_s: float) -> Flows:
        """Advance by ``dt_s``.

        Args: cda_m2: sum of the effective openings to the outside, m². p0_pa, t0_k: outside. swept_m3_s: volume at
            manifold density that the cylinders take per second (volumetric efficiency included).
        Returns: mean flows over the step, kg/s.
        """
        supply = cda_m2 * p0_pa / sqrt(AIR_R * t0_k)
        rate = swept_m3_s / self.volume_m3
        before = self.mass_kg
        full = p0_pa * self.volume_m3 / (AIR_R * self.temperature_k)
        limit = _CRITICAL * full
        if before < limit and supply * _CHOKED < rate * limit:
            inlet = supply * _CHOKED
            level = inlet / rate
            self.mass_kg = level + (before - level) * exp(-rate * dt_s)
            return Flows(inlet, inlet - (self.mass_kg - before) / dt_s)
        self.mass_kg = _implicit(before, dt_s, supply, rate, full)
        outlet = rate * self.mass_kg
        return Flows(outlet + (self.mass_kg - before) / dt_s, outlet)


def _implicit(before: float, dt_s: float, supply: float, rate: float, full: float) -> float:
    """Mass after one implicit step, kg: the root of a falling function between nothing and full."""
    low, high = 0.0, max(full, before)
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        if before + dt_s * (supply * air_flow_function(middle / full) - rate * middle) > middle:
            low = middle
        else:
            high = middle
        if high - low < 1e-12:
            break
    return 0.5 * (low + high)
