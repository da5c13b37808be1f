"""A sensor of a moving car: offset that drifts as it warms, slow wander, noise, slope error, steps of resolution.

What is read is (true·slope + offset + drift·(T − 25 °C) + wander + noise), rounded to the resolution, held at the ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

from .noise import Noise


@dataclass(frozen=True)
class SensorSpec:
    """Errors of a sensor, all in its unit.

    Attributes:
        offset: at 25 °C. drift_per_k: change of the offset with its own temperature. wander: standard deviation of a
        slow offset with the time constant wander_s. noise: standard deviation of one reading. slope: 1 is right.
        resolution: step of what is read. span: largest value that it can show.
    """

    offset: float = 0.0
    drift_per_k: float = 0.0
    wander: float = 0.0
    wander_s: float = 300.0
    noise: float = 0.0
    slope: float = 1.0
    resolution: float = 0.01
    span: float = 1e9


class Sensor:
    """One sensor. ``extra`` is an offset that work or a fault has added, ``more_noise`` noise that a fault adds."""

    CHANGES = ("extra", "more_noise", "wandering", "_noise")
    __slots__ = ("_noise", "extra", "more_noise", "spec", "wandering")

    def __init__(self, spec: SensorSpec, seed: int, name: str) -> None:
        self.spec = spec
        self._noise = Noise(seed, name)
        self.extra = 0.0
        self.more_noise = 0.0
        self.wandering = spec.wander * self._noise.normal()

    def step(self, dt_s: float) -> None:
        """Let the slow offset wander for any time."""
        spec = self.spec
        if spec.wander > 0.0 and dt_s > 0.0:
            keep = exp(-dt_s / spec.wander_s)
            self.wandering = keep * self.wandering + spec.wander * sqrt(1.0 - keep * keep) * self._noise.normal()

    def bias(self, temperature_c: float) -> float:
        """Offset now, without noise and resolution."""
        return self.spec.offset + self.extra + self.spec.drift_per_k * (temperature_c - 25.0) + self.wandering

    def read(self, true: float, temperature_c: float) -> float:
        """One reading at the sensor's own temperature."""
        spec = self.spec
        noise = sqrt(spec.noise * spec.noise + self.more_noise * self.more_noise)
        value = true * spec.slope + self.bias(temperature_c) + noise * self._noise.normal()
        value = round(value / spec.resolution) * spec.resolution
        return min(spec.span, max(-spec.span, value))
