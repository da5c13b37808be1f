"""An accelerator pedal with two sensors: where each rests, and what makes them differ. Readings in % of the supply."""

from __future__ import annotations

from .noise import Noise

#: Travel of sensor D from rest to full, %; sensor E shows this share of D.
SPAN_PCT, SHARE_E = 72.0, 0.5


class PedalUnit:
    """One pedal unit.

    Attributes: rest_pct: sensor D with the foot off. bent_pct: more, because something is bent. skew_e_pct: error of
        sensor E. noise_pct: more noise than sound sensors have.
    """

    CHANGES = ("rest_pct", "bent_pct", "skew_e_pct", "noise_pct", "_noise")

    def __init__(self, rest_pct: float, seed: int) -> None:
        self.rest_pct = rest_pct
        self.bent_pct = self.skew_e_pct = self.noise_pct = 0.0
        self._noise = Noise(seed, "pedal")

    @property
    def rests_at(self) -> float:
        """Sensor D with the foot off, %, without noise."""
        return self.rest_pct + self.bent_pct

    def d_pct(self, travel: float) -> float:
        """Sensor D at a travel of 0 to 1, %."""
        return self.rests_at + SPAN_PCT * travel + (0.02 + self.noise_pct) * self._noise.normal()

    def e_pct(self, travel: float) -> float:
        """Sensor E, %."""
        steady = SHARE_E * (self.rests_at + SPAN_PCT * travel) + self.skew_e_pct
        return steady + (0.02 + 0.5 * self.noise_pct) * self._noise.normal()
