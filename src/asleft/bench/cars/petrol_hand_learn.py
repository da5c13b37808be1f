"""The idle relearn by hand of the petrol car's engine module: a key-and-pedal sequence of the bench's own making.

Invented, in structure and in timing; no car has it. Warm; key on; pedal fully down within 4 to 8 s and held 8 to 16 s;
up, key off within 5 s; left off 16 s at least; start; foot brake held 10 to 15 s. Then the module raises the idle for
`LIFT_S` seconds, stores what idle control carried, and lets the idle settle. Anything else does nothing, and says
nothing: that is how such sequences fail. The module looks ten times a second.
"""

from __future__ import annotations

from .petrol_side import EngineSide

#: How much the idle is raised, 1/min, and for how long, s: the sign that it was taken.
LIFT_RPM, LIFT_S = 150.0, 15.0
_FULL, _UP = 0.9, 0.05


class HandLearn:
    """Watches key, pedal, engine and foot brake.

    Attributes: taken: how often the sequence was accepted.
    """

    def __init__(self, side: EngineSide) -> None:
        self._side = side
        self._train = side.electronic
        self._stage = "off"
        self._since_s = 0.0
        self.taken = 0

    def step(self, now_s: float) -> None:
        """Look at the car at ``now_s``, s."""
        handler = getattr(self, f"_{self._stage.replace('-', '_')}")
        handler(now_s, now_s - self._since_s)

    # -- stages: what is waited for ----------------------------------------------------------------------------------

    def _off(self, now_s: float, _for_s: float) -> None:
        if self._train.key_on:
            warm = self._train.temperatures.sensed_c >= 75.0
            self._go("armed" if warm and not self._train.running else "spoiled", now_s)

    def _armed(self, now_s: float, for_s: float) -> None:
        if not self._train.key_on:
            self._go("off", now_s)
        elif self._train.running or for_s > 8.0 or (self._train.pedal > _UP and for_s < 4.0):
            self._go("spoiled", now_s)
        elif self._train.pedal >= _FULL:
            self._go("held", now_s)

    def _held(self, now_s: float, for_s: float) -> None:
        if self._train.pedal <= _UP and 8.0 <= for_s <= 16.0:
            self._go("released", now_s)
        elif (self._train.pedal < _FULL and for_s < 8.0) or for_s > 16.0 or not self._train.key_on:
            self._go("spoiled", now_s)

    def _released(self, now_s: float, for_s: float) -> None:
        if not self._train.key_on:
            self._go("resting", now_s)
        elif for_s > 5.0 or self._train.pedal > _UP:
            self._go("spoiled", now_s)

    def _resting(self, now_s: float, for_s: float) -> None:
        if self._train.key_on:
            self._go("starting" if for_s >= 16.0 else "spoiled", now_s)

    def _starting(self, now_s: float, for_s: float) -> None:
        if not self._train.key_on or for_s > 60.0:
            self._go("spoiled", now_s)
        elif self._train.running and self._side.brake():
            self._go("braked", now_s)

    def _braked(self, now_s: float, for_s: float) -> None:
        if not self._train.running or self._train.pedal > _UP:
            self._go("spoiled", now_s)
        elif not self._side.brake():
            self._go("learning" if 10.0 <= for_s <= 15.0 and not self._train.plate.stop_wrong else "spoiled", now_s)
            self._train.idle.lift_rpm = LIFT_RPM if self._stage == "learning" else 0.0

    def _learning(self, now_s: float, for_s: float) -> None:
        if not self._train.running or self._train.pedal > _UP:
            self._train.idle.lift_rpm = 0.0
            self._go("spoiled", now_s)
        elif for_s >= LIFT_S:
            self._train.idle.lift_rpm = 0.0
            if self._side.values.idle_air.learn(self._side.values.idle_air.value + self._train.idle.integral_g_s):
                self._train.idle.rest()
                self.taken += 1
            self._go("spoiled", now_s)

    def _spoiled(self, now_s: float, _for_s: float) -> None:
        if not self._train.key_on:
            self._go("off", now_s)

    def _go(self, stage: str, now_s: float) -> None:
        self._stage, self._since_s = stage, now_s
