"""Isolation of a high-voltage system: every part leaks a little from each pole to the body, wet ones more.

All leaks of a pole are in parallel; the isolation resistance is the smaller pole's. The monitor in the car finds it by
a slow measurement that settles over tens of seconds. Source: parallel resistances; figures are common practice.
"""

from __future__ import annotations

from math import exp

from .noise import Noise

#: Part -> resistance of each of its poles to the body when sound and dry, MΩ.
PARTS_MOHM = {"battery": 14.0, "inverter": 22.0, "motor": 30.0, "compressor": 18.0, "heater": 25.0, "charger": 28.0}
#: Parts that are only connected with the contactors closed.
BEHIND_CONTACTORS = frozenset(PARTS_MOHM) - {"battery"}
#: How fast the monitor's reading follows, s, and how long it says nothing after it began, s.
SETTLE_S, BLIND_S = 9.0, 20.0
#: Highest that the monitor can tell, kΩ.
TOP_KOHM = 5000.0


class Isolation:
    """The system and its monitor.

    Attributes: leak_kohm: extra leak of a part's negative pole, kΩ. damp: 0 dry to 1 wet, of connectors everywhere.
        closed: contactors closed. reading_kohm, since_s: of the monitor. monitor_gain: 1 is right. stuck: its reading
        stands still.
    """

    CHANGES = ("leak_kohm", "damp", "closed", "reading_kohm", "since_s", "monitor_gain", "stuck", "_noise")

    def __init__(self, seed: int) -> None:
        self._noise = Noise(seed, "isolation")
        self._scatter = {name: self._noise.between(0.8, 1.25) for name in PARTS_MOHM}
        self.leak_kohm: dict[str, float] = {}
        self.damp = 0.0
        self.closed = False
        self.reading_kohm = 0.0
        self.since_s = 0.0
        self.monitor_gain = 1.0
        self.stuck = False

    def pole_kohm(self, negative: bool, only: str | None = None) -> float:
        """Resistance of one pole to the body now, kΩ; only: of one part by itself."""
        total = 0.0
        for name, megohm in PARTS_MOHM.items():
            if (only is not None and name != only) or (only is None and name in BEHIND_CONTACTORS and not self.closed):
                continue
            total += 1.0 / (megohm * 1e3 * self._scatter[name] * exp(-2.6 * self.damp))
            if negative and name in self.leak_kohm:
                total += 1.0 / self.leak_kohm[name]
        return 1.0 / total if total > 0.0 else 1e9

    @property
    def true_kohm(self) -> float:
        """Isolation of what is connected now, kΩ."""
        return min(self.pole_kohm(negative=True), self.pole_kohm(negative=False))

    def monitor(self, dt_s: float, awake: bool) -> None:
        """Let the monitor work for any time; asleep it forgets."""
        if not awake:
            self.since_s = 0.0
            self.reading_kohm = 0.0
            return
        self.since_s += dt_s
        if self.stuck:
            return
        goal = min(TOP_KOHM, self.true_kohm * self.monitor_gain)
        self.reading_kohm = goal + (self.reading_kohm - goal) * exp(-dt_s / SETTLE_S)

    def shown_kohm(self) -> float | None:
        """What the monitor tells, kΩ; None while it has not settled."""
        if self.since_s < BLIND_S:
            return None
        noise = 0.0 if self.stuck else 0.006 * self._noise.normal()
        return min(TOP_KOHM, self.reading_kohm * (1.0 + noise))
