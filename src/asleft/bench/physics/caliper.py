"""A rear caliper with the parking brake's motor: spindle, nut, piston, pads; current tells force.

Figures are common practice, no source.
"""

from __future__ import annotations

from .moving import Moving
from .noise import Noise

#: Spindle speed free at 12.5 V, mm/s; its whole way, mm; way to the disc with new pads of this thickness, mm.
SPEED_MM_S = 2.4
WAY_MM = 20.0
TO_DISC_MM = 6.0
NEW_PAD_MM = 11.0
#: Motor current: free, more per kN of clamping, and where the module cuts it, A. Stiffness of caliper and pads, kN/mm.
FREE_A = 3.2
PER_KN_A = 0.85
CUT_A = 13.0
STIFF_KN_MM = 7.5


class Caliper(Moving):
    """One side.

    Attributes: spindle_mm: 0 wound back. wanted: 1 applying, -1 winding back, 0 off. pad_mm: thickness. stiff_a:
        current lost in a stiff gear. weak: share of its strength that the motor has lost. gap_mm: way lost because
        the piston was not brought into contact with the nut. force_kn: clamping. peak_a, took_s: of the last run.
    """

    CHANGES = (
        "now_s", "current_a", "spindle_mm", "wanted", "pad_mm", "stiff_a", "weak", "gap_mm", "force_kn", "peak_a",
        "took_s", "_noise",
    )  # fmt: skip

    def __init__(self, pad_mm: float, seed: int, name: str) -> None:
        super().__init__()
        self.pad_mm = pad_mm
        self.wanted = 0
        self.stiff_a = self.weak = self.gap_mm = 0.0
        self.spindle_mm = self.contact_mm + 1.5
        self.force_kn = 1.5 * STIFF_KN_MM
        self.peak_a = self.took_s = 0.0
        self._noise = Noise(seed, name)

    @property
    def contact_mm(self) -> float:
        """Where the pads touch the disc."""
        return TO_DISC_MM + (NEW_PAD_MM - self.pad_mm) + self.gap_mm

    @property
    def driven(self) -> bool:
        """The motor is on."""
        return self.wanted != 0

    @property
    def retracted(self) -> bool:
        """Wound back to the end."""
        return self.spindle_mm <= 0.0

    def begin(self, wanted: int) -> None:
        """Motor on: 1 apply, -1 wind back."""
        self.wanted = wanted
        self.peak_a = self.took_s = 0.0

    def step(self, dt_s: float, volts: float) -> None:
        """One step with the motor on; it cuts itself off at its current or at an end of its way."""
        loaded = FREE_A + self.stiff_a + (PER_KN_A * self.force_kn if self.wanted > 0 else 0.0)
        strength = CUT_A * volts / 12.0 * (1.0 - self.weak)
        speed = SPEED_MM_S * volts / 12.5 * max(0.05, 1.0 - 0.35 * loaded / strength)
        if loaded >= strength:
            speed = 0.0
        self.spindle_mm = min(WAY_MM, max(0.0, self.spindle_mm + self.wanted * speed * dt_s))
        self.force_kn = max(0.0, STIFF_KN_MM * (self.spindle_mm - self.contact_mm))
        self.took_s += dt_s
        self.current_a = loaded * (1.0 + 0.01 * self._noise.normal())
        self.peak_a = max(self.peak_a, min(loaded, CUT_A, strength))
        ended = self.spindle_mm in (0.0, WAY_MM) or loaded >= CUT_A or (speed == 0.0 and self.took_s > 12.0)
        if ended:
            self.wanted = 0
            self.current_a = 0.0

    def wheel_nm(self) -> float:
        """What it takes to turn the wheel by hand on the lift, N·m."""
        return 2.0 + 90.0 * self.force_kn
