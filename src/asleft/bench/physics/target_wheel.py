"""The crankshaft's target wheel: no tooth is quite where it should be, so every part of a turn seems too fast or slow.

The errors are fixed to the wheel; without combustion they can be measured, with it they look like misfire.
Figures are common practice, no source.
"""

from __future__ import annotations

from .noise import Noise

#: Parts of two turns, one a cylinder, in firing order.
SEGMENTS = 4


class TargetWheel:
    """Wheel and damper.

    Attributes: error_permille: of each segment's time. loose_permille: how much a loose damper moves them from one
        overrun to the next.
    """

    CHANGES = ("error_permille", "loose_permille", "_noise")

    def __init__(self, seed: int) -> None:
        self._noise = Noise(seed, "target wheel")
        self.error_permille = [self._noise.between(-1.2, 1.2) for _ in range(SEGMENTS)]
        self.loose_permille = 0.0

    def replaced(self) -> None:
        """Another wheel or sensor: other errors."""
        self.error_permille = [self._noise.between(-1.4, 1.4) for _ in range(SEGMENTS)]

    def overrun(self) -> list[float]:
        """Errors as one overrun without fuel shows them, ‰."""
        shift = self.loose_permille * self._noise.normal()
        return [
            error + shift * (-1.0) ** index + 0.04 * self._noise.normal()
            for index, error in enumerate(self.error_permille)
        ]
