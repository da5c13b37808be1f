"""A cable throttle of an older car: plate on a stop screw, idle air through a bypass valve, one position sensor.

The plate goes where the foot pulls it. At idle the engine module sets the bypass; that the foot is off it recognises by
the sensor reading its learned rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from .learned import Learned
from .noise import Noise
from .throttle import gap_area_mm2, plate_area_mm2


class LearnedRest(Learned, Protocol):
    """A learned rest reading that can be stored anew."""

    def learn(self, value: float) -> bool:
        """Store a value if it lies within the limits; says whether it did."""
        ...


@dataclass(frozen=True)
class CableSpec:
    """Sizes of a cable throttle.

    Attributes:
        bore_mm, closed_deg, gap_mm, discharge: as of the electronic one. screw_deg: the stop screw holds the plate
        open by this. travel_deg: at full pedal. bypass_mm2: effective area of the bypass valve full open.
        clog: share of both that full deposits close. zero_pct, span_deg: of the sensor.
    """

    bore_mm: float = 50.0
    closed_deg: float = 6.0
    gap_mm: float = 0.02
    discharge: float = 0.70
    screw_deg: float = 0.8
    travel_deg: float = 80.0
    bypass_mm2: float = 24.0
    clog: float = 0.35
    zero_pct: float = 11.0
    span_deg: float = 112.0


class CableThrottle:
    """One cable throttle with its bypass.

    Attributes: pedal: 0 to 1, as the cable pulls. bypass: opening of the valve, 0 to 1. deposits: 0 to 1.
        fitted: on the engine. sensor_pct: how much the sensor reads too much; a new or shifted sensor changes it.
    """

    CHANGES = ("pedal", "bypass", "deposits", "fitted", "sensor_pct", "_sensing")
    __slots__ = ("_sensing", "bypass", "deposits", "fitted", "pedal", "sensor_pct", "spec")

    def __init__(self, spec: CableSpec, seed: int, deposits: float) -> None:
        self.spec = spec
        self._sensing = Noise(seed, "throttle sensors")
        self.deposits = deposits
        self.pedal = 0.0
        self.bypass = 0.5
        self.fitted = True
        self.sensor_pct = 0.0

    @property
    def opening_deg(self) -> float:
        """Plate above its closed position, degrees."""
        return self.spec.screw_deg + self.pedal * self.spec.travel_deg

    @property
    def closed_area_mm2(self) -> float:
        """Effective area with the foot off and the bypass shut, mm²."""
        spec = self.spec
        plate = plate_area_mm2(spec.bore_mm, spec.closed_deg, spec.closed_deg + spec.screw_deg)
        return spec.discharge * (gap_area_mm2(spec.bore_mm, spec.gap_mm) + plate) * (1.0 - spec.clog * self.deposits)

    @property
    def area_m2(self) -> float:
        """Effective area now: gap and plate, and bypass, m²."""
        spec = self.spec
        clean = 1.0 - spec.clog * self.deposits
        if self.pedal <= 0.0:
            plate = self.closed_area_mm2
        else:
            open_mm2 = plate_area_mm2(spec.bore_mm, spec.closed_deg, spec.closed_deg + self.opening_deg)
            plate = spec.discharge * (gap_area_mm2(spec.bore_mm, spec.gap_mm) * clean + open_mm2)
        return (plate + spec.bypass_mm2 * self.bypass * clean) * 1e-6

    @property
    def steady_sensor(self) -> float:
        """Sensor now, %, without noise."""
        return self.spec.zero_pct + self.sensor_pct + self.pedal * self.spec.travel_deg / self.spec.span_deg * 100.0

    @property
    def sensor_a(self) -> float:
        """Sensor now, %; 0 when unplugged."""
        return self.steady_sensor + 0.02 * self._sensing.normal() if self.fitted else 0.0

    def clean(self, fraction: float) -> None:
        """Take away a share of the deposits, 0 to 1."""
        self.deposits *= 1.0 - min(max(fraction, 0.0), 1.0)


_NOMINAL_CLOSED = CableThrottle(CableSpec(), 0, 0.0).closed_area_mm2


class BypassControl:
    """What an older engine module does: sets the bypass, recognises the released pedal, learns the rest by hand.

    The rest is learned by a sequence after key-on, engine off: foot off for a second, full pedal for half a second,
    foot off for a second, all within twenty seconds (the bench's own sequence).

    Attributes:
        rest: learned reading with the foot off, %. moving: the sequence is being watched. released: the foot is
        recognised off.
    """

    CHANGES = ("moving", "key_s", "phase", "phase_s", "released")
    SLACK_PCT = 0.9
    FULL_PCT = 60.0
    WINDOW_S = 20.0

    def __init__(self, throttle: CableThrottle, rest: LearnedRest) -> None:
        self.throttle = throttle
        self.rest = rest
        self.moving = False
        self.released = True
        self.key_s = 0.0
        self.phase = 0
        self.phase_s = 0.0

    @property
    def stop_wrong(self) -> bool | None:
        """This module checks nothing at power-up."""
        return False

    @property
    def learning(self) -> bool:
        """It has no learn that it runs itself."""
        return False

    @property
    def following(self) -> bool:
        """The plate always follows the foot: while it is open, time has to pass in steps, or it would stay there."""
        return self.throttle.pedal > 0.0

    def key_on(self) -> None:
        """Begin to watch for the hand sequence."""
        self.moving = True
        self.key_s = self.phase_s = 0.0
        self.phase = 0

    def key_off(self) -> None:
        """Park the bypass half open for the next start."""
        self.moving = False
        self.throttle.bypass = 0.5

    def step(self, dt_s: float, running: bool, pedal: float, idle_area_mm2: float) -> None:
        """Advance by ``dt_s`` with the key on."""
        throttle = self.throttle
        throttle.pedal = pedal
        self.released = throttle.steady_sensor <= self.rest.value + self.SLACK_PCT
        if running:
            self.moving = False
            if self.released:
                self._set_bypass(dt_s, idle_area_mm2)
        elif self.moving:
            self._watch(dt_s, pedal)

    @staticmethod
    def nominal_closed_mm2() -> float:
        """Effective area of a nominal clean throttle with foot off and bypass shut, mm²."""
        return _NOMINAL_CLOSED

    def _set_bypass(self, dt_s: float, idle_area_mm2: float) -> None:
        nominal = CableSpec()
        wanted = min(1.0, max(0.0, (idle_area_mm2 - self.nominal_closed_mm2()) / nominal.bypass_mm2))
        step = 0.9 * dt_s
        self.throttle.bypass += min(step, max(-step, wanted - self.throttle.bypass))

    def _watch(self, dt_s: float, pedal: float) -> None:
        self.key_s += dt_s
        if self.key_s > self.WINDOW_S:
            self.moving = False
            return
        full = self.throttle.steady_sensor - self.rest.value > self.FULL_PCT
        holds = (pedal <= 0.0, full, pedal <= 0.0)[self.phase]
        if holds:
            self.phase_s += dt_s
        elif self.phase_s >= (1.0, 0.5, 1.0)[self.phase] and self.phase < 2:
            self.phase += 1
            self.phase_s = 0.0
        elif self.phase_s > 0.0:
            self.phase = 0
            self.phase_s = 0.0
        if self.phase == 2 and self.phase_s >= 1.0:
            self.rest.learn(self.throttle.steady_sensor)
            self.moving = False
