"""The named signals that standard OBD carries, with what can physically be and how true the usual sensor is.

The codec's table gives names, units and steps; here stand the narrower limits of what can be on a road car and the
half-width of the sensor's own error. Both are common practice, no source; a value outside the limits is flagged, never
dropped::

    CATALOGUE["coolant-temperature"].accuracy  # 2.0 °C
"""

from __future__ import annotations

import msgspec

from asleft.codec.obd.parameters import PIDS_OF_SIGNAL, SIGNALS
from asleft.model.own_signals import OWN_SIGNALS
from asleft.model.reading import Signal

#: Signal -> low, high, accuracy, in its unit. Common practice, no source; accuracy of mass air flow as at idle (4 %).
_PLAUSIBLE: dict[str, tuple[float, float, float]] = {
    "engine-speed": (0.0, 9000.0, 1.0),
    "vehicle-speed": (0.0, 254.0, 2.0),
    "coolant-temperature": (-40.0, 140.0, 2.0),
    "intake-air-temperature": (-40.0, 120.0, 2.0),
    "ambient-temperature": (-40.0, 60.0, 2.0),
    "engine-oil-temperature": (-40.0, 180.0, 3.0),
    "manifold-pressure": (5.0, 254.0, 1.0),
    "barometric-pressure": (50.0, 110.0, 1.0),
    "mass-air-flow": (0.0, 600.0, 0.12),
    "control-module-voltage": (0.0, 18.0, 0.1),
    "throttle-absolute": (0.0, 100.0, 0.5),
    "throttle-absolute-b": (0.0, 100.0, 0.5),
    "accelerator-pedal-d": (0.0, 100.0, 0.5),
    "accelerator-pedal-e": (0.0, 100.0, 0.5),
    "catalyst-temperature-1-1": (-40.0, 1200.0, 20.0),
    "catalyst-temperature-1-2": (-40.0, 1200.0, 20.0),
    "fuel-level": (0.0, 100.0, 3.0),
    "timing-advance": (-64.0, 63.5, 0.0),
}

#: Signals that are never constant to the bit while they are above zero: if they are, they may be frozen (TRADE 5.11).
NOISY = frozenset({"engine-speed", "mass-air-flow"})


def _signal(name: str) -> Signal:
    base = SIGNALS[name]
    low, high, accuracy = _PLAUSIBLE.get(name, (base.low, base.high, 0.0))
    return msgspec.structs.replace(base, low=low, high=high, accuracy=accuracy)


#: Every signal that standard OBD can carry, by id.
CATALOGUE: dict[str, Signal] = {name: _signal(name) for name in SIGNALS}


#: What a module's own reading can be is not known: nothing is flagged.
_ANY = 1e9

#: Every signal that has a name: those of standard OBD as the standard has them, and those of modules and gauges.
NAMED: dict[str, Signal] = SIGNALS | {
    name: Signal(name, words, unit, -_ANY, _ANY, 0.0) for name, (unit, words) in OWN_SIGNALS.items()
}


def parameters_of(signal: str) -> tuple[int, ...]:
    """Parameters that carry a signal, the more usual one first; none for a signal that standard OBD does not have."""
    return PIDS_OF_SIGNAL.get(signal, ())
