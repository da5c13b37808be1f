"""What can go wrong on a K-line, seeded: the same seed gives the same faults. Rates are per byte.

line.faults = LineFaults(seed=3, lost=0.01)
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field


@dataclass
class LineFaults:
    """Rates of the faults of a wire.

    Attributes:
        seed: of the random choice. lost: nobody but its sender hears the byte (level too high for the others).
        changed: one bit reads otherwise, for everybody. shorted: the wire is held low, nothing gets through.
    """

    seed: int = 0
    lost: float = 0.0
    changed: float = 0.0
    shorted: bool = False
    _random: random.Random = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)  # noqa: S311 - a simulation, repeatable on purpose

    def loses(self) -> bool:
        """Whether this byte is lost to the others."""
        return self.lost > 0.0 and self._random.random() < self.lost

    def heard(self, value: int) -> int:
        """What a byte reads as."""
        if self.changed > 0.0 and self._random.random() < self.changed:
            return value ^ 1 << self._random.randrange(8)
        return value
