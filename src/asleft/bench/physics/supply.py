"""The low-voltage supply: battery, alternator, support charger and what they feed.

The battery is a source that rises with its state of charge, an inner resistance and one slow polarisation. Over any
step its current is held, so the step is exact for a constant load however long it is.

Source: equivalent circuit as in any text on lead-acid batteries; figures are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp


@dataclass(frozen=True)
class BatterySpec:
    """Sizes of a battery.

    Attributes:
        capacity_ah: charge between full and empty. empty_v, full_v: open-circuit voltage at both ends.
        inner_ohm: resistance felt at once. slow_ohm, slow_s: polarisation while giving, its resistance and time
        constant. charge_ohm, charge_s: the same while taking.
    """

    capacity_ah: float = 60.0
    empty_v: float = 11.75
    full_v: float = 12.75
    inner_ohm: float = 0.009
    slow_ohm: float = 0.006
    slow_s: float = 40.0
    charge_ohm: float = 0.085
    charge_s: float = 7.0


class Battery:
    """A battery under a current. Positive current flows out."""

    CHANGES = ("charge", "slow_v")
    __slots__ = ("_dt_s", "_keep", "_time_s", "charge", "slow_v", "spec")

    def __init__(self, spec: BatterySpec, charge: float) -> None:
        self.spec = spec
        self.charge = charge
        self.slow_v = 0.0
        self._dt_s: float = 0.0
        self._time_s: float = 0.0
        self._keep: float = 0.0

    @property
    def open_v(self) -> float:
        """Open-circuit voltage, V."""
        spec = self.spec
        return spec.empty_v + (spec.full_v - spec.empty_v) * self.charge

    def terminal_v(self, current_a: float) -> float:
        """Voltage at the posts while ``current_a`` flows out, V."""
        return self.open_v - self.slow_v - self.spec.inner_ohm * current_a

    def current_at(self, volts: float) -> float:
        """Current out that makes the posts show ``volts``, A."""
        return (self.open_v - self.slow_v - volts) / self.spec.inner_ohm

    def step(self, dt_s: float, current_a: float) -> None:
        """Advance by ``dt_s`` under a constant current out. Exact for any length until empty or full."""
        spec = self.spec
        ohm, time_s = (spec.slow_ohm, spec.slow_s) if current_a >= 0.0 else (spec.charge_ohm, spec.charge_s)
        goal = ohm * current_a
        if dt_s != self._dt_s or time_s != self._time_s:
            self._dt_s, self._time_s, self._keep = dt_s, time_s, exp(-dt_s / time_s)
        self.slow_v = goal + (self.slow_v - goal) * self._keep
        self.charge = min(1.0, max(0.0, self.charge - current_a * dt_s / (3600.0 * spec.capacity_ah)))


class Supply:
    """Battery with alternator, charger and consumers.

    Attributes:
        load_a: what is drawn now, A. charger_v, charger_a: a support unit holds this voltage up to this current; 0 V:
        none connected. connected: battery connected. alternator_a, alternator_w: current it gives, mechanical power
        it takes. volts: at the battery posts.
    """

    CHANGES = ("alternator_a", "alternator_w", "battery", "charger_a", "charger_v", "connected", "load_a", "volts")
    __slots__ = ("alternator_a", "alternator_w", "battery", "charger_a", "charger_v", "connected", "load_a", "volts")

    EFFICIENCY = 0.62

    def __init__(self, battery: Battery) -> None:
        self.battery = battery
        self.charger_v = 0.0
        self.charger_a = 50.0
        self.connected = True
        self.load_a = 0.03
        self.alternator_a = 0.0
        self.alternator_w = 0.0
        self.volts = battery.open_v

    def step(self, dt_s: float, setpoint_v: float, alternator_limit_a: float) -> None:
        """Advance by ``dt_s``.

        Args: setpoint_v: what the alternator regulates to. alternator_limit_a: what it can give at this speed; 0 when
            it stands.
        """
        if not self.connected:
            self.alternator_a = self.alternator_w = self.volts = 0.0
            return
        battery = self.battery
        self.alternator_a = 0.0
        sources = battery.terminal_v(self.load_a)
        given = 0.0
        if self.charger_v > sources:
            given = min(self.charger_a, self.load_a - battery.current_at(self.charger_v))
        if alternator_limit_a > 0.0 and setpoint_v > battery.terminal_v(self.load_a - given):
            wanted = self.load_a - battery.current_at(setpoint_v) - given
            self.alternator_a = min(alternator_limit_a, max(0.0, wanted))
        current = self.load_a - given - self.alternator_a
        self.volts = battery.terminal_v(current)
        self.alternator_w = self.volts * self.alternator_a / self.EFFICIENCY
        battery.step(dt_s, current)

    def rest(self, dt_s: float) -> None:
        """Advance by any time with the engine stopped, in pieces short against the battery's own times."""
        if not self.connected:
            self.volts = 0.0
            return
        if self.charger_v <= 0.0:
            self.step(dt_s, 0.0, 0.0)
            return
        first = min(dt_s, 40.0)
        pieces = max(1, round(first))
        for _ in range(pieces):
            self.step(first / pieces, 0.0, 0.0)
        pieces = max(1, min(200, int((dt_s - first) / 10.0)))
        for _ in range(pieces if dt_s > first else 0):
            self._charge((dt_s - first) / pieces)

    def _charge(self, dt_s: float) -> None:
        """Charger at work with the polarisation settled: long steps are stable because only the charge moves."""
        battery = self.battery
        ohm = battery.spec.inner_ohm + battery.spec.charge_ohm
        current = min((self.charger_v - battery.open_v) / ohm, self.charger_a - self.load_a)
        if current <= 0.0:
            self.step(dt_s, 0.0, 0.0)
            return
        battery.slow_v = -battery.spec.charge_ohm * current
        self.volts = battery.terminal_v(-current)
        battery.step(dt_s, -current)
