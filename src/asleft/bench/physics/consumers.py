"""What draws current in the car, by name. Figures are common practice, no source."""

from __future__ import annotations

from collections.abc import Iterable

#: What each switchable consumer draws, A at 13 V.
CONSUMERS_A = {"lamps": 11.0, "rear heater": 16.0, "blower": 12.0, "cooler": 5.0, "radio": 3.0}

#: Always: asleep; key on; more while running, while cranking, with the cooling fan.
ASLEEP_A = 0.03
KEY_ON_A = 8.5
RUNNING_A = 12.0
STARTER_A = 165.0
FAN_A = 17.0


def drawn_a(consumers: Iterable[str], *, key_on: bool, running: bool, starter: bool, fan: bool) -> float:
    """Current drawn in a state of the car, A; what is switched on draws with the key on only."""
    if not key_on:
        return ASLEEP_A
    drawn = KEY_ON_A + sum(CONSUMERS_A[name] for name in consumers)
    return drawn + (RUNNING_A if running else 0.0) + (STARTER_A if starter else 0.0) + (FAN_A if fan else 0.0)
