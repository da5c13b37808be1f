"""Which unit each signal's limits may have: the names the rooms share, by quantity.

Source: names and quantities follow the parameters of SAE J1979 / ISO 15031-5 (recalled); the slugs are ours.
"""

from __future__ import annotations

from asleft.model.units import UNITS

#: Signal id -> unit its readings come in.
SIGNAL_UNITS: dict[str, str] = {
    "engine-speed": "rpm",
    "vehicle-speed": "km/h",
    "coolant-temperature": "°C",
    "intake-air-temperature": "°C",
    "ambient-temperature": "°C",
    "engine-oil-temperature": "°C",
    "engine-load": "%",
    "throttle-absolute": "%",
    "throttle-absolute-b": "%",
    "throttle-commanded": "%",
    "relative-throttle": "%",
    "accelerator-pedal-d": "%",
    "accelerator-pedal-e": "%",
    "manifold-pressure": "kPa",
    "barometric-pressure": "kPa",
    "mass-air-flow": "g/s",
    "control-module-voltage": "V",
    "run-time": "s",
    "short-term-trim-1": "%",
    "long-term-trim-1": "%",
    "timing-advance": "°",
    "fuel-level": "%",
    "purge-commanded": "%",
    "catalyst-temperature-1-1": "°C",
    "catalyst-temperature-1-2": "°C",
    "equivalence-ratio-commanded": "1",
}


def fits(signal: str, unit: str) -> bool:
    """Whether a limit in ``unit`` can be held against readings of ``signal``. Both must be known."""
    return UNITS[SIGNAL_UNITS[signal]].quantity == UNITS[unit].quantity


def units_for(signal: str) -> tuple[str, ...]:
    """Units that fit a known signal."""
    quantity = UNITS[SIGNAL_UNITS[signal]].quantity
    return tuple(symbol for symbol, unit in UNITS.items() if unit.quantity == quantity)
