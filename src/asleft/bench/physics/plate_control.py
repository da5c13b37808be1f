"""How the engine module moves the throttle plate: power-up check, following the pedal, the lower-stop learn, running.

The module counts openings from its learned lower stop. If that is wrong, everything it commands is wrong by as much.
After key-on it drives the plate to the stop and compares; every other time it then opens the plate before it lets go,
so that the plate comes to rest from both sides in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, unique

from .learned import Learned
from .throttle import Throttle, gap_area_mm2, opening_for_area


@unique
class Mode(StrEnum):
    """What the plate motor is doing."""

    OFF = "off"
    CHECK = "check"
    FOLLOW = "follow"
    LEARN = "learn"
    RUN = "run"


@dataclass(frozen=True)
class PlateSpec:
    """What the module assumes of its throttle, and its limits.

    Attributes:
        bore_mm, closed_deg, gap_mm, discharge, span_deg: nominal throttle, clean.
        tolerance_pct: largest departure of the measured stop from the learned one, in % of sensor A.
        pedal_deg: opening at full pedal; reduced_deg: the most while the stop is not trusted and the engine runs.
    """

    bore_mm: float
    closed_deg: float
    gap_mm: float
    discharge: float
    span_deg: float
    tolerance_pct: float = 0.55
    pedal_deg: float = 78.0
    reduced_deg: float = 22.0


#: Steps of a movement: (seconds, what). ``close`` and ``open`` drive, ``free`` lets go, ``wait`` does nothing;
#: ``stop?`` and ``rest?`` measure at their end.
Movement = Sequence[tuple[float, str]]

CHECK_FROM_STOP: Movement = ((0.15, "wait"), (0.40, "close"), (0.02, "stop?"), (0.30, "free"))
CHECK_FROM_OPEN: Movement = ((0.15, "wait"), (0.40, "close"), (0.02, "stop?"), (0.30, "open"), (0.30, "free"))


def learn_movement(pace: float) -> Movement:
    """Steps of the lower-stop learn; ``pace`` 1 takes about five and a half seconds."""
    steps = ((0.6, "wait"), (0.8, "open"), (0.9, "free"), (1.2, "close"), (0.1, "stop?"), (0.9, "free"), (0.1, "rest?"))
    return tuple((seconds * pace, what) for seconds, what in (*steps, (0.9, "free")))


def length_s(movement: Movement) -> float:
    """How long a movement takes, s."""
    return sum(seconds for seconds, _ in movement)


class PlateControl:
    """Motor and position control of one throttle.

    Attributes:
        stop, rest: learned readings of sensor A at lower stop and spring rest, %.
        measured_stop_pct, measured_rest_pct: what the last check or learn found.
        checked: a power-up check has finished in this key-on. command_deg: opening commanded above the learned stop.
    """

    CHANGES = (
        "mode", "command_deg", "measured_stop_pct", "measured_rest_pct", "checked", "cycles", "_steps", "_left_s",
        "_still_s", "moving",
    )  # fmt: skip

    def __init__(self, spec: PlateSpec, throttle: Throttle, stop: Learned, rest: Learned) -> None:
        self.spec = spec
        self.throttle = throttle
        self.stop = stop
        self.rest = rest
        self.mode: str = Mode.OFF
        self.command_deg = 0.0
        self.measured_stop_pct = stop.value
        self.measured_rest_pct = rest.value
        self.checked = False
        self.cycles = 0
        self.moving = False
        self._steps: list[list[float | str]] = []
        self._left_s = 0.0
        self._still_s = 0.0

    @property
    def stop_wrong(self) -> bool | None:
        """Whether the checked stop departs too far from the learned one; None before the check has finished."""
        if not self.checked:
            return None
        return abs(self.measured_stop_pct - self.stop.value) > self.spec.tolerance_pct

    @property
    def learning(self) -> bool:
        """A lower-stop learn is under way."""
        return self.mode == Mode.LEARN

    @property
    def following(self) -> bool:
        """The plate follows the pedal with the engine off."""
        return self.mode == Mode.FOLLOW

    @property
    def command_pct(self) -> float:
        """Commanded position with zero at the learned stop, %; where the springs bring it when the motor is off."""
        if self.mode in (Mode.OFF, Mode.CHECK, Mode.LEARN):
            return self.rest.value - self.stop.value
        return self.command_deg / self.spec.span_deg * 100.0

    def opening_for_flow(self, area_mm2: float) -> float:
        """Opening above the stop that a nominal clean throttle needs for an effective area, degrees."""
        spec = self.spec
        plate = area_mm2 / spec.discharge - gap_area_mm2(spec.bore_mm, spec.gap_mm)
        return opening_for_area(spec.bore_mm, spec.closed_deg, plate)

    def key_on(self) -> None:
        """Begin the power-up check."""
        self.checked = False
        self.cycles += 1
        self._begin(Mode.CHECK, CHECK_FROM_OPEN if self.cycles % 2 else CHECK_FROM_STOP)

    def key_off(self) -> None:
        """Motor off at once."""
        self._end()
        self.throttle.release()

    def learn(self, pace: float) -> float:
        """Begin the lower-stop movement; returns how long it takes, s."""
        movement = learn_movement(pace)
        self._begin(Mode.LEARN, movement)
        return length_s(movement)

    def break_off(self) -> None:
        """End a movement early and let go."""
        if self.mode in (Mode.CHECK, Mode.LEARN):
            self._end()
            self.throttle.release()

    def step(self, dt_s: float, running: bool, pedal: float, idle_area_mm2: float) -> None:
        """Advance by ``dt_s`` with the key on.

        Args: running: cranking or running. pedal: 0 to 1 of its travel. idle_area_mm2: what idle control asks for.
        """
        if self._steps and not running:
            self._move(dt_s)
        elif running:
            self._steps.clear()
            self.mode = Mode.RUN
            asked = pedal * self.spec.pedal_deg
            asked = min(asked, self.spec.reduced_deg) if self.stop_wrong else asked
            self.command_deg = max(self.opening_for_flow(idle_area_mm2), asked)
            self._drive(dt_s)
        elif pedal > 0.02 or self.mode == Mode.FOLLOW:
            self._follow(dt_s, pedal)
        elif self.mode == Mode.RUN:
            self.key_off()
        else:
            self.moving = False

    def _follow(self, dt_s: float, pedal: float) -> None:
        floor = (self.rest.value - self.stop.value) / 100.0 * self.spec.span_deg
        self.mode = Mode.FOLLOW
        self.command_deg = max(floor, pedal * self.spec.pedal_deg)
        self._drive(dt_s)
        self._still_s = 0.0 if pedal > 0.02 else self._still_s + dt_s
        if self._still_s > 1.0:
            self.key_off()

    def _drive(self, dt_s: float) -> None:
        reading = self.stop.value + self.command_deg / self.spec.span_deg * 100.0
        self.moving = self.throttle.drive(dt_s, self.throttle.angle_for(reading)) or self._still_s > 0.0

    def _begin(self, mode: Mode, movement: Movement) -> None:
        self.mode = mode
        self._steps = [[seconds, what] for seconds, what in movement]
        self._left_s = float(movement[0][0])
        self.moving = True

    def _end(self) -> None:
        self.mode = Mode.OFF
        self._steps.clear()
        self._still_s = 0.0
        self.moving = False

    def _move(self, dt_s: float) -> None:
        throttle = self.throttle
        what = self._steps[0][1]
        if what == "close":
            throttle.press(dt_s)
        elif what == "open":
            throttle.drive(dt_s, throttle.spring_deg + 25.0)
        self._left_s -= dt_s
        if self._left_s <= 0.0:
            self._measure(str(what))
            self._steps.pop(0)
            if not self._steps:
                self._end()
                return
            self._left_s += float(self._steps[0][0])
            if self._steps[0][1] == "free":
                throttle.release()

    def _measure(self, what: str) -> None:
        reading = self.throttle.reading_a(self.throttle.angle_deg) if self.throttle.fitted else 0.0
        if what == "stop?":
            self.measured_stop_pct = reading
            self.checked = True
        elif what == "rest?":
            self.measured_rest_pct = reading
