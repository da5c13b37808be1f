"""Exhaust gas recirculation of a diesel: valve, seat, motor, position sensor, and how the module moves it.

The module counts openings from the learned reading of the closed valve. What is wrong there is exhaust gas too much or
too little, and shows in the fresh air. Figures are common practice, no source.
"""

from __future__ import annotations

from math import exp

from .learned import Learned
from .noise import Noise

#: Reading of the closed sound valve and more of it per % of opening, % of the supply; lag of the valve, s.
ZERO_PCT, PER_PCT, LAG_S = 14.0, 0.66, 0.09
#: Steps of the learn: seconds and whether it drives closed or open.
LEARN = ((0.6, 0.0), (1.2, 0.0), (1.4, 100.0), (1.2, 0.0))


class IntakeFlap:
    """The open intake of a diesel."""

    CHANGES = ("fitted",)

    def __init__(self) -> None:
        self.fitted = True

    @property
    def area_m2(self) -> float:
        """Effective area, m²."""
        return 1.1e-3


class ReturnValve:
    """The valve.

    Attributes: open_pct: true opening. seat_pct: least opening, because of carbon. offset_pct: error of the sensor.
        travel_pct: how far it opens at most. stiction_pct: it does not follow smaller steps.
    """

    CHANGES = ("open_pct", "seat_pct", "offset_pct", "travel_pct", "stiction_pct", "fitted", "_noise")

    def __init__(self, seed: int) -> None:
        self._noise = Noise(seed, "return valve")
        self.offset_pct = self._noise.between(-1.5, 1.5)
        self.seat_pct = self.stiction_pct = 0.0
        self.travel_pct = 100.0
        self.open_pct = 0.0
        self.fitted = True

    @property
    def sensor_pct(self) -> float:
        """Position sensor, % of its supply; 0 when unplugged."""
        if not self.fitted:
            return 0.0
        return self.steady_pct + 0.03 * self._noise.normal()

    @property
    def steady_pct(self) -> float:
        """The same without noise."""
        return ZERO_PCT + self.offset_pct + PER_PCT * self.open_pct

    def drive(self, dt_s: float, wanted_pct: float) -> None:
        """Motor towards an opening."""
        if not self.fitted or abs(wanted_pct - self.open_pct) < self.stiction_pct:
            return
        goal = min(self.travel_pct, max(self.seat_pct, wanted_pct))
        self.open_pct = goal + (self.open_pct - goal) * exp(-dt_s / LAG_S)


class ReturnControl:
    """What the module does with the valve.

    Attributes: closed: learned reading of the closed valve, %. command_pct: opening asked for. moving: something is
        under way. found: readings closed, open, closed of the last learn.
    """

    CHANGES = ("command_pct", "moving", "found", "wanted_pct", "_step", "_left_s", "_learns", "valve")

    def __init__(self, valve: ReturnValve, closed: Learned) -> None:
        self.valve = valve
        self.closed = closed
        self.command_pct = self.wanted_pct = 0.0
        self.moving = False
        self.found: list[float] = []
        self._step = 0
        self._left_s = 0.0
        self._learns = False

    @property
    def stop_wrong(self) -> bool | None:
        """No throttle to mistrust."""
        return False

    @property
    def learning(self) -> bool:
        """A learn is under way."""
        return self._learns

    @property
    def following(self) -> bool:
        """It never follows the pedal."""
        return False

    @property
    def actual_pct(self) -> float:
        """Opening as the module takes it."""
        return max(0.0, (self.valve.sensor_pct - self.closed.value) / PER_PCT)

    def key_on(self) -> None:
        """Close."""
        self.moving = True
        self._left_s = 0.4

    def key_off(self) -> None:
        """The spring closes it."""
        self._learns = self.moving = False
        self.command_pct = 0.0
        self.valve.open_pct = self.valve.seat_pct

    def learn(self) -> float:
        """Begin the learn; gives its length, s."""
        self._learns = self.moving = True
        self.found = []
        self._step, self._left_s = 0, LEARN[0][0]
        return sum(seconds for seconds, _ in LEARN)

    def break_off(self) -> None:
        """End a learn early."""
        self._learns = False

    def step(self, dt_s: float, running: bool, pedal: float, idle_area_mm2: float) -> None:  # noqa: ARG002
        """Advance by ``dt_s`` with the key on."""
        if self._learns and not running:
            self._walk(dt_s)
            return
        self._learns = False
        self.command_pct = self.wanted_pct if running else 0.0
        reading = self.closed.value + PER_PCT * self.command_pct
        error = (reading - self.valve.steady_pct) / PER_PCT
        wanted = self.valve.open_pct + error if self.command_pct > 0.0 else 0.0
        self.valve.drive(dt_s, wanted)
        self._left_s -= dt_s
        self.moving = running or self._left_s > 0.0

    def _walk(self, dt_s: float) -> None:
        self.command_pct = LEARN[self._step][1]
        self.valve.drive(dt_s, self.command_pct)
        self._left_s -= dt_s
        if self._left_s <= 0.0:
            if self._step:
                self.found.append(self.valve.steady_pct)
            self._step += 1
            if self._step == len(LEARN):
                self._learns = False
                self._left_s = 0.0
            else:
                self._left_s += LEARN[self._step][0]
