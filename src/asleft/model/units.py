"""Units at the border: a closed set with exact factors to SI, and the difference trap kept apart.

Inside the project a number never travels without its unit. Conversions happen where a number enters or leaves.

Source: factors by NIST SP 811 (2008), appendix B.8; the entries marked *exact* follow from exact definitions there.
"""

from __future__ import annotations

import msgspec

from .errors import Code, InputError


class Unit(msgspec.Struct, frozen=True):
    """One unit: ``si = value * factor + offset``.

    Attributes:
        symbol: what files and screens print.
        quantity: what it measures; only units of one quantity convert.
        factor: to the SI unit of the quantity.
        offset: only for temperatures; a difference of temperatures has none.
    """

    symbol: str
    quantity: str
    factor: float = 1.0
    offset: float = 0.0


_FAHRENHEIT = 5.0 / 9.0

UNITS: dict[str, Unit] = {
    u.symbol: u
    for u in (
        Unit("1", "ratio"),
        Unit("%", "ratio", 0.01),
        Unit("count", "count"),
        Unit("s", "time"),
        Unit("ms", "time", 1e-3),
        Unit("min", "time", 60.0),
        Unit("h", "time", 3600.0),
        Unit("K", "temperature"),
        Unit("°C", "temperature", 1.0, 273.15),
        Unit("°F", "temperature", _FAHRENHEIT, 459.67 * _FAHRENHEIT),
        Unit("Pa", "pressure"),
        Unit("kPa", "pressure", 1e3),
        Unit("bar", "pressure", 1e5),
        Unit("psi", "pressure", 6894.757293168361),
        Unit("rpm", "rotation", 1.0 / 60.0),
        Unit("rpm/s", "rotation-change", 1.0 / 60.0),
        Unit("V", "voltage"),
        Unit("mV", "voltage", 1e-3),
        Unit("V/min", "voltage-change", 1.0 / 60.0),
        Unit("K/min", "temperature-change", 1.0 / 60.0),
        Unit("%/min", "ratio-change", 0.01 / 60.0),
        Unit("kPa/min", "pressure-change", 1e3 / 60.0),
        Unit("A", "current"),
        Unit("mA", "current", 1e-3),
        Unit("Ω", "resistance"),
        Unit("kΩ", "resistance", 1e3),
        Unit("MΩ", "resistance", 1e6),
        Unit("mg", "mass", 1e-6),
        Unit("N", "force"),
        Unit("Ah", "charge", 3600.0),
        Unit("m/s", "speed"),
        Unit("km/h", "speed", 1.0 / 3.6),
        Unit("mph", "speed", 0.44704),
        Unit("m", "length"),
        Unit("mm", "length", 1e-3),
        Unit("km", "length", 1e3),
        Unit("in", "length", 0.0254),
        Unit("mm²", "area", 1e-6),
        Unit("kg/s", "mass-flow"),
        Unit("g/s", "mass-flow", 1e-3),
        Unit("g/s/L", "mass-flow-per-volume", 1.0),
        Unit("L", "volume", 1e-3),
        Unit("L/h", "volume-flow", 1e-3 / 3600.0),
        Unit("°", "angle", 0.017453292519943295),
        Unit("°/s", "angular-rate", 0.017453292519943295),
        Unit("m/s²", "acceleration"),
        Unit("N·m", "torque"),
        Unit("lbf·ft", "torque", 1.3558179483314004),
        Unit("Hz", "frequency"),
    )
}


def unit(symbol: str) -> Unit:
    """The unit with this symbol. Raises InputError (unit-unknown)."""
    try:
        return UNITS[symbol]
    except KeyError:
        raise InputError(Code.UNIT_UNKNOWN, symbol) from None


def convert(value: float, source: str, target: str) -> float:
    """A value of one unit in another of the same quantity.

    Raises: InputError: unit-unknown, unit-mismatch.
    Source: NIST SP 811 (2008), B.8.
    """
    a, b = _pair(source, target)
    if a == b:
        return value
    return (value * a.factor + a.offset - b.offset) / b.factor


def convert_difference(value: float, source: str, target: str) -> float:
    """A difference, an uncertainty or a tolerance in another unit: 180 °F of difference are 100 K, not 82 °C."""
    a, b = _pair(source, target)
    return value if a == b else value * a.factor / b.factor


def _pair(source: str, target: str) -> tuple[Unit, Unit]:
    a, b = unit(source), unit(target)
    if a.quantity != b.quantity:
        raise InputError(Code.UNIT_MISMATCH, f"{source} is {a.quantity}, {target} is {b.quantity}")
    return a, b
