"""Names that procedures, the catalogue and the plan share: the car states."""

from __future__ import annotations

#: Car states a procedure may be done in; their costs stand with the plan.
CAR_STATES: tuple[str, ...] = (
    "koeo",
    "parked",
    "koeo-cold",
    "koeo-warm",
    "warm-idle",
    "hot-outdoors",
    "warm-gearbox",
    "on-lift",
    "level-floor",
    "level-idle",
    "target-bay",
    "road",
    "road-steady",
    "cold-soaked",
    "hv-safe",
    "hv-rest",
)
