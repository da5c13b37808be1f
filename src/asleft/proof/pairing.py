"""Readings of two signals brought to the same times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arrays import Array
from .samples import Samples

#: A reading further away than this from its partner is not paired with it, s.
FURTHEST_S = 1.0


@dataclass(frozen=True)
class Paired:
    """Readings of two signals at the same times, length n.

    Attributes:
        times: s. first: as read. second: interpolated to those times.
        rounding: variance that rounding leaves in an interpolated reading.
    """

    times: Array
    first: Array
    second: Array
    rounding: float

    def __len__(self) -> int:
        return len(self.times)

    @property
    def window_s(self) -> tuple[float, float]:
        """First and last time, s."""
        return float(self.times[0]), float(self.times[-1])


def paired(first: Samples, second: Samples) -> Paired:
    """The second signal at the times of the first; rows with one time for both are taken as they stand."""
    q = second.series.resolution
    if np.array_equal(first.times, second.times):
        return Paired(first.times, first.values, second.values, q * q / 12.0)
    if len(second) < 2:
        nothing = np.zeros(0)
        return Paired(nothing, nothing, nothing, 0.0)
    after = np.clip(np.searchsorted(second.times, first.times), 1, len(second) - 1)
    gap = second.times[after] - second.times[after - 1]
    keep = (first.times >= second.times[0]) & (first.times <= second.times[-1])
    keep &= gap <= FURTHEST_S + second.series.u_time_s
    values = np.interp(first.times, second.times, second.values)
    share = np.clip((first.times - second.times[after - 1]) / np.maximum(gap, 1e-9), 0.0, 1.0)[keep]
    rounding = q * q / 12.0 * float(np.mean(share**2 + (1.0 - share) ** 2)) if len(share) else 0.0
    return Paired(first.times[keep], first.values[keep], values[keep], rounding)
