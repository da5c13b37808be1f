"""The stated objective as one whole number: active minutes first, then counted moves, late discovery, time. Pure.

Each criterion takes a block of bits of its own, so that sums and comparisons of whole numbers are sums and comparisons
criterion by criterion: exact, without weights that somebody would have to invent.

1. minutes the technician is busy; 2. drives, lift and floor moves; 3. expected cost of late discovery: each active
minute counts once for every failure that may still come, by its chance; 4. minutes by the calendar.

Lateness against a promised time comes before all of these; it is a limit on the calendar, not a sum (see ``order``).
"""

from __future__ import annotations

import msgspec

#: Smallest step of minutes, 1/min.
STEPS = 100
#: Smallest step of a chance.
CHANCES = 1000
_BLOCK = 44


def steps(minutes: float) -> int:
    """Minutes in whole steps."""
    return round(minutes * STEPS)


def weigh(active: int, moves: int, elapsed: int, chance: int = 0) -> int:
    """One number for active and elapsed steps, counted moves, and the chance that a failure still comes."""
    return (((active << _BLOCK) + moves << _BLOCK) + active * chance << _BLOCK) + elapsed


class Costs(msgspec.Struct, frozen=True, order=True):
    """The criteria apart.

    Attributes:
        late_min: over the promised time. active_min, elapsed_min: busy, by the calendar. moves: drives, lift and floor.
        discovery_min: expected active minutes already spent when a failure is found.
    """

    late_min: float
    active_min: float
    moves: int
    discovery_min: float
    elapsed_min: float


def apart(weight: int, late_min: float = 0.0) -> Costs:
    """The criteria of one number."""
    mask = (1 << _BLOCK) - 1
    active, moves = weight >> 3 * _BLOCK, weight >> 2 * _BLOCK & mask
    discovery, elapsed = weight >> _BLOCK & mask, weight & mask
    return Costs(late_min, active / STEPS, moves, discovery / (STEPS * CHANCES), elapsed / STEPS)
