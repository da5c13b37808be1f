"""What the engine module keeps count of: since clear, with the lamp on, warm-ups, readiness, off-target idle.

Fed with the car's time; it looks at the powertrain and never changes it.
"""

from __future__ import annotations

from typing import Any

from ..physics.powertrain import Powertrain

#: Seconds with the condition fulfilled until a monitor is complete: common practice, no source.
_NEEDS_S = {"oxygen sensor heater": 45.0, "oxygen sensor": 150.0, "catalyst": 240.0, "evaporative": 600.0}


class Diary:
    """Counters of the engine module.

    Attributes:
        clear_s, lamp_s: engine-running time since codes were cleared, with the lamp on, s. clear_km: distance since.
        warm_ups: since clear. done_s: monitor -> seconds of it since clear; cycle_s: the same in this key-on.
        high_s, low_s: how long the idle has been too high, too low, s. distance_km: of the car.
    """

    CHANGES = (
        "now_s", "clear_s", "lamp_s", "clear_km", "warm_ups", "done_s", "cycle_s", "high_s", "low_s", "start_c",
        "counted", "distance_km", "lamp_km",
    )  # fmt: skip

    def __init__(self, powertrain: Powertrain[Any, Any], clear_s: float, warm_ups: int, distance_km: float) -> None:
        self._powertrain = powertrain
        self.now_s = 0.0
        self.clear_s = clear_s
        self.lamp_s = 0.0
        self.lamp_km = 0.0
        self.clear_km = clear_s / 3600.0 * 38.0
        self.warm_ups = warm_ups
        self.done_s = dict.fromkeys(_NEEDS_S, 1000000.0)
        self.cycle_s = dict.fromkeys(_NEEDS_S, 0.0)
        self.high_s = self.low_s = 0.0
        self.start_c = 0.0
        self.counted = True
        self.distance_km = distance_km

    def advance(self, speed_km_h: float, lamp: bool) -> None:
        """Bring the counters to the powertrain's time."""
        train = self._powertrain
        dt_s = train.now_s - self.now_s
        self.now_s = train.now_s
        if dt_s <= 0.0 or not train.running:
            self.high_s = self.low_s = 0.0
            return
        moved = speed_km_h * dt_s / 3600.0
        self.clear_s += dt_s
        self.clear_km += moved
        self.distance_km += moved
        self.lamp_s += dt_s if lamp else 0.0
        self.lamp_km += moved if lamp else 0.0
        self._count_warm_up()
        self._watch_idle(dt_s)
        self._work_monitors(dt_s, speed_km_h)

    def complete(self, name: str, *, this_cycle: bool = False) -> bool:
        """Whether a monitor has finished since clear, or in this key-on."""
        return (self.cycle_s if this_cycle else self.done_s)[name] >= _NEEDS_S[name]

    def cleared(self) -> None:
        """Codes were cleared: start again."""
        self.clear_s = self.clear_km = self.lamp_s = self.lamp_km = 0.0
        self.warm_ups = 0
        self.done_s = dict.fromkeys(_NEEDS_S, 0.0)

    def cycle(self) -> None:
        """Key on: a new operation cycle."""
        self.cycle_s = dict.fromkeys(_NEEDS_S, 0.0)
        self.start_c = self._powertrain.temperatures.sensed_c
        self.counted = False

    def _count_warm_up(self) -> None:
        coolant = self._powertrain.temperatures.sensed_c
        if not self.counted and coolant >= 70.0 and coolant - self.start_c >= 22.0:
            self.counted = True
            self.warm_ups = min(255, self.warm_ups + 1)

    def _watch_idle(self, dt_s: float) -> None:
        train = self._powertrain
        settled = train.run_s > 20.0 and train.pedal < 0.02
        error = train.crank.rpm - train.idle.target_rpm if settled else 0.0
        self.high_s = self.high_s + dt_s if error > 160.0 else 0.0
        self.low_s = self.low_s + dt_s if error < -100.0 else 0.0

    def _work_monitors(self, dt_s: float, speed_km_h: float) -> None:
        train = self._powertrain
        holds = {
            "oxygen sensor heater": True,
            "oxygen sensor": train.fuel.closed,
            "catalyst": train.fuel.closed and speed_km_h > 40.0,
            "evaporative": train.purge > 0.1 and self.start_c < 35.0,
        }
        for name, hold in holds.items():
            if hold:
                self.done_s[name] += dt_s
                self.cycle_s[name] += dt_s
