"""Temperatures: coolant with thermostat, radiator and fan; air under the bonnet and in the intake; catalyst.

Each is a first-order body, advanced exactly over a step in which its surroundings are held; with the engine off one
step may be hours.

Source: lumped heat balance; figures are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp


@dataclass(frozen=True)
class CoolingSpec:
    """Sizes of the cooling system.

    Attributes:
        capacity_j_k: coolant and the metal that follows it. skin_w_k: loss without the radiator.
        opens_c, span_k: where the thermostat begins to open, and how much further it is full open.
        radiator_w_k: radiator in still air with the thermostat full open; fan_w_k: more with the fan.
        fan_on_c, fan_off_c: switch points.
    """

    capacity_j_k: float = 21_000.0
    skin_w_k: float = 11.0
    opens_c: float = 83.0
    span_k: float = 9.0
    radiator_w_k: float = 45.0
    fan_w_k: float = 320.0
    fan_on_c: float = 97.0
    fan_off_c: float = 92.5


def toward(value: float, goal: float, dt_s: float, time_s: float) -> float:
    """First-order approach: the exact value after ``dt_s`` with a time constant ``time_s``."""
    return goal + (value - goal) * exp(-dt_s / time_s)


class Temperatures:
    """Temperatures of one car, °C.

    Attributes: coolant_c, bonnet_c (air under the bonnet), intake_c (air in the intake tract), catalyst_c (front),
        rear_c (behind it). fan: running. sensor_k: error of the coolant sensor. stuck_open: least opening of
        the thermostat, 0 to 1. fan_early_k: by how much the fan switches too early.
    """

    CHANGES = (
        "ambient_c", "bonnet_c", "catalyst_c", "coolant_c", "fan", "fan_early_k", "intake_c", "rear_c", "sensor_k",
        "stuck_open",
    )  # fmt: skip
    __slots__ = (*CHANGES, "spec")

    def __init__(self, spec: CoolingSpec, ambient_c: float) -> None:
        self.spec = spec
        self.ambient_c = ambient_c
        self.coolant_c = self.bonnet_c = self.intake_c = self.catalyst_c = self.rear_c = ambient_c
        self.fan = False
        self.stuck_open = 0.0
        self.sensor_k = 0.0
        self.fan_early_k = 0.0

    def warm(self) -> None:
        """As after a drive: everything at working temperature."""
        self.coolant_c, self.bonnet_c, self.intake_c = 87.0, 54.0, 45.0
        self.catalyst_c, self.rear_c = 330.0, 240.0

    @property
    def sensed_c(self) -> float:
        """Coolant temperature as the sensor says: true but for ``sensor_k``."""
        return self.coolant_c + self.sensor_k

    @property
    def thermostat(self) -> float:
        """Opening, 0 to 1; ``stuck_open`` is the least it can be."""
        spec = self.spec
        free = (self.coolant_c - spec.opens_c) / spec.span_k
        return max(self.stuck_open, min(1.0, max(0.0, free)))

    def loss_w_k(self, wind_m_s: float) -> float:
        """Heat loss of the coolant per kelvin above ambient, W/K."""
        spec = self.spec
        radiator = spec.radiator_w_k * (1.0 + 0.9 * wind_m_s) + (spec.fan_w_k if self.fan else 0.0)
        return spec.skin_w_k + self.thermostat * radiator

    def run(self, dt_s: float, heat_w: float, exhaust_g_s: float, wind_m_s: float) -> None:
        """Advance by a short step with the engine running.

        Args: heat_w: heat into the coolant. exhaust_g_s: exhaust flow. wind_m_s: air against the car.
        """
        spec = self.spec
        loss = self.loss_w_k(wind_m_s)
        self.coolant_c = toward(self.coolant_c, self.ambient_c + heat_w / loss, dt_s, spec.capacity_j_k / loss)
        if self.coolant_c > spec.fan_on_c - self.fan_early_k:
            self.fan = True
        elif self.coolant_c < spec.fan_off_c - self.fan_early_k:
            self.fan = False
        self._air(dt_s, wind_m_s, 340.0)
        self.catalyst_c = toward(self.catalyst_c, 372.0 + 14.0 * min(exhaust_g_s, 25.0), dt_s, 68.0)
        self.rear_c = toward(self.rear_c, self.catalyst_c - 120.0, dt_s, 190.0)

    def rest(self, dt_s: float) -> None:
        """Advance by any time with the engine stopped: everything soaks towards the air outside."""
        spec = self.spec
        self.fan = False
        pieces = max(1, min(60, int(dt_s / 120.0)))
        for _ in range(pieces):
            piece = dt_s / pieces
            loss = 0.45 * spec.skin_w_k
            self.coolant_c = toward(self.coolant_c, self.ambient_c, piece, spec.capacity_j_k / loss)
            self._air(piece, 0.0, 420.0)
            self.catalyst_c = toward(self.catalyst_c, self.bonnet_c, piece, 700.0)
            self.rear_c = toward(self.rear_c, self.bonnet_c, piece, 700.0)

    def _air(self, dt_s: float, wind_m_s: float, time_s: float) -> None:
        share = 0.5 / (1.0 + 0.25 * wind_m_s)
        self.bonnet_c = toward(self.bonnet_c, self.ambient_c + share * (self.coolant_c - self.ambient_c), dt_s, time_s)
        near = self.ambient_c + 0.85 * (self.bonnet_c - self.ambient_c)
        self.intake_c = toward(self.intake_c, near, dt_s, 60.0 / (1.0 + 0.3 * wind_m_s))
