"""Acts on a car whose engine module learns pedal rest and tooth errors."""

from __future__ import annotations

from collections.abc import Callable

from ..physics.noise import Noise
from .petrol_side import EngineSide


class EngineActs:
    """Acts of a car with an electronic throttle and a target wheel."""

    engine_side: EngineSide
    chance: Noise
    need_key_off: Callable[[], None]

    def act_replace_pedal(self) -> None:
        """Fit a new pedal unit: it rests elsewhere; the key must be off."""
        self.need_key_off()
        unit = self.engine_side.pedal_unit
        unit.rest_pct += self.chance.between(1.2, 1.9) * (-1.0 if unit.rest_pct > 15.8 else 1.0)
        self.engine_side.settle()

    def act_replace_crank_sensor(self) -> None:
        """Fit a new crankshaft sensor and wheel: other tooth errors; the key must be off. The module is told."""
        self.need_key_off()
        self.engine_side.wheel.replaced()
        self.engine_side.teeth.forget()
