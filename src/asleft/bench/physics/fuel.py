"""Mixture control: metered air, injected fuel, short- and long-term trim around a switching exhaust sensor.

Fuel follows the metered air; what enters unmetered (a leak behind the meter, purge) makes the mixture lean or rich and
shows in the trims. The short-term trim ramps and turns at each switch of the sensor, so it swings as it does on cars.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from .learned import Learned


@dataclass(frozen=True)
class FuelSpec:
    """Figures of a mixture control.

    Attributes:
        injector_error: how much more fuel the injectors give than they should, as a share.
        ramp_per_s, jump: short-term trim, shares. delay_s: from injection to the sensor.
        scatter: of the mixture from one half second to the next.
        ready_s, ready_c: closed loop not before this time after start and this coolant temperature.
        long_s: time constant of the long-term trim. limit: largest trim of either kind.
    """

    injector_error: float = 0.0
    ramp_per_s: float = 0.050
    jump: float = 0.018
    delay_s: float = 0.60
    scatter: float = 0.008
    ready_s: float = 25.0
    ready_c: float = 35.0
    long_s: float = 45.0
    limit: float = 0.25


class FuelControl:
    """One mixture control. ``long`` is the learned long-term trim, ``short`` the short-term one, as shares.

    ``owed`` gathers what is to go into the learned trim, which is written in small portions.
    """

    CHANGES = ("short", "lambda_", "sensed", "rich", "closed", "mean", "ripple", "owed")
    __slots__ = (*CHANGES, "_dt_s", "_follow", "_keep", "long", "spec")

    def __init__(self, spec: FuelSpec, long: Learned) -> None:
        self.spec = spec
        self.long = long
        self.short = 0.0
        self.mean = 0.0
        self.ripple = 0.0
        self.owed = 0.0
        self.lambda_ = 1.0
        self.sensed = 1.0
        self.rich = False
        self.closed = False
        self._dt_s = self._keep = self._follow = 0.0

    def step(
        self, dt_s: float, metered_share: float, vapour_share: float, run_s: float, coolant_c: float, *, noise: float
    ) -> None:
        """Advance by ``dt_s`` with the engine running.

        Args: metered_share: metered air over all air. vapour_share: fuel that comes with the purge, over what is
            injected. noise: a normal number.
        """
        spec = self.spec
        warm = min(1.0, max(0.0, (60.0 - coolant_c) / 60.0))
        enriched = 1.0 + (0.0 if self.closed else 0.10 * warm)
        fuel = metered_share * (1.0 + self.short + self.long.value) * (1.0 + spec.injector_error) + vapour_share
        if dt_s != self._dt_s:
            self._dt_s, self._keep, self._follow = dt_s, exp(-2.0 * dt_s), 1.0 - exp(-dt_s / spec.delay_s)
        keep = self._keep
        self.ripple = keep * self.ripple + spec.scatter * (1.0 - keep * keep) ** 0.5 * noise
        self.lambda_ = (1.0 + self.ripple) / (fuel * enriched)
        self.closed = run_s > spec.ready_s and coolant_c > spec.ready_c
        if not self.closed:
            self.short = self.mean = 0.0
            return
        self.sensed += (self.lambda_ - self.sensed) * self._follow
        rich = self.sensed < (1.003 if self.rich else 0.997)
        if rich != self.rich:
            self.rich = rich
            self.short += spec.jump if not rich else -spec.jump
        self.short += (-spec.ramp_per_s if rich else spec.ramp_per_s) * dt_s
        self.short = min(spec.limit, max(-spec.limit, self.short))
        self.mean += (self.short - self.mean) * dt_s / 4.0
        self.owed += self.mean * dt_s / spec.long_s
        if abs(self.owed) > 2e-5:
            self.long.adapt(self.owed)
            self.owed = 0.0

    def rest(self) -> None:
        """Engine stopped."""
        self.short = self.mean = 0.0
        self.lambda_ = self.sensed = 1.0
        self.closed = self.rich = False
