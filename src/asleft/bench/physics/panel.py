"""A window or sliding roof: motor, friction, two end stops, perhaps something in the way.

Closing against something builds up force until the motor stalls or somebody takes the current away. Figures are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from .moving import Moving
from .noise import Noise


@dataclass(frozen=True)
class PanelSpec:
    """Sizes of a panel.

    Attributes: travel_mm: from closed to open. speed_mm_s: at 13 V, closing and opening. friction_n: of a sound guide.
        stall_n: force at which the motor stalls at 13 V. stiffness_n_mm: of seal and hand together.
        free_a, per_n_a: current of the free motor, and more for each newton.
    """

    travel_mm: float
    speed_mm_s: float
    friction_n: float = 55.0
    stall_n: float = 340.0
    stiffness_n_mm: float = 11.0
    free_a: float = 2.2
    per_n_a: float = 0.042


class Panel(Moving):
    """One panel.

    Attributes: open_mm: 0 closed. wanted: -1 closing, 1 opening, 0 off. squeezed_mm: how far it presses into a stop.
        block_mm: thickness of what stands in the opening, None: nothing. stiff_n: more friction than sound. slip: share
        of motor turns that do not move the panel. force_n: on the stop or block. peak_n: highest on a block since
        `peak_n` was set to 0. turned_mm: what the motor's own counter says it has moved since it was set to 0.
    """

    CHANGES = (
        "now_s", "current_a", "open_mm", "wanted", "squeezed_mm", "block_mm", "stiff_n", "slip", "force_n", "peak_n",
        "turned_mm", "_noise",
    )  # fmt: skip

    def __init__(self, spec: PanelSpec, seed: int, name: str) -> None:
        super().__init__()
        self.spec = spec
        self.open_mm = 0.0
        self.wanted = 0
        self.squeezed_mm = 0.0
        self.block_mm: float | None = None
        self.stiff_n = self.slip = 0.0
        self.force_n = self.peak_n = self.turned_mm = 0.0
        self._noise = Noise(seed, name)

    @property
    def driven(self) -> bool:
        """The motor is on."""
        return self.wanted != 0

    @property
    def stalled(self) -> bool:
        """It presses against something and does not move."""
        return self.squeezed_mm > 0.0

    def stop(self) -> None:
        """Motor off; what was squeezed relaxes."""
        self.wanted = 0
        self.squeezed_mm = self.force_n = self.current_a = 0.0

    def step(self, dt_s: float, volts: float) -> None:
        """One step with the motor on."""
        spec = self.spec
        friction = spec.friction_n + self.stiff_n
        most = spec.stall_n * volts / 13.0
        load = friction + self.force_n
        speed = spec.speed_mm_s * volts / 13.0 * max(0.0, 1.0 - load / most)
        end = spec.travel_mm if self.wanted > 0 else self._closed_at()
        room = abs(end - self.open_mm)
        moved = min(speed * dt_s, room)
        self.open_mm += moved * self.wanted
        if room <= 1e-9:
            self.squeezed_mm += 0.12 * speed * dt_s
        self.force_n = spec.stiffness_n_mm * self.squeezed_mm
        if self.block_mm is not None and self.wanted < 0:
            self.peak_n = max(self.peak_n, self.force_n)
        turned = moved * (1.0 + self.slip * (1.0 + 0.6 * self._noise.normal()))
        self.turned_mm += turned
        self.current_a = spec.free_a + spec.per_n_a * min(most, load) * (1.0 + 0.03 * self._noise.normal())

    def _closed_at(self) -> float:
        """Where closing ends: at the seal, or at what stands in the opening."""
        return self.block_mm if self.block_mm is not None and self.open_mm >= self.block_mm else 0.0
