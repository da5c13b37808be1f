"""Which unit each signal's limits may have: the signals that standard OBD carries, by quantity.

What only a module's own data or a gauge in a hand shows has its name and unit in ``own_signals``; a car gives it where
the workshop's map says by which identifier. Anything else is declared.
"""

from __future__ import annotations

from asleft.codec.obd.parameters import SIGNALS
from asleft.model.own_signals import OWN_SIGNALS
from asleft.model.units import UNITS

#: Signal id -> unit its readings come in.
SIGNAL_UNITS: dict[str, str] = {name: signal.unit for name, signal in SIGNALS.items()} | {
    name: unit for name, (unit, _) in OWN_SIGNALS.items()
}


def fits(signal: str, unit: str) -> bool:
    """Whether a limit in ``unit`` can be held against readings of ``signal``. Both must be known."""
    return UNITS[SIGNAL_UNITS[signal]].quantity == UNITS[unit].quantity


def units_for(signal: str) -> tuple[str, ...]:
    """Units that fit a known signal."""
    quantity = UNITS[SIGNAL_UNITS[signal]].quantity
    return tuple(symbol for symbol, unit in UNITS.items() if unit.quantity == quantity)
