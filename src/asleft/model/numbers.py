"""Numbers as people read them: enough digits to tell them apart, never more than the uncertainty carries.

Used by every sentence and every figure, so that one number looks the same everywhere. A true minus sign, and a space
before the unit (NIST SP 811, 7.2).
"""

from __future__ import annotations

import math

#: Digits after the point that a reading of this unit is shown with.
_DECIMALS = {
    "%": 1,
    "V": 2,
    "g/s": 2,
    "g/s/L": 2,
    "1": 3,
    "bar": 2,
    "A": 1,
    "°": 1,
    "°/s": 2,
    "m/s²": 2,
    "V/min": 2,
    "mm²": 1,
    "Hz": 2,
    "min": 1,
}
_MOST_DECIMALS = 6


def plain(value: float, decimals: int) -> str:
    """A number with so many digits after the point; no negative nought, a true minus sign."""
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else ("∞" if value > 0 else "−∞")
    text = f"{value:.{max(0, decimals)}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def short(value: float) -> str:
    """A limit as written in a procedure: no needless noughts."""
    return plain(value, _needed(value))


def with_unit(text: str, unit: str) -> str:
    """A number's text and its unit; a ratio of one has none."""
    return text if unit in {"", "1", "count"} else f"{text} {unit}"


def show(value: float, unit: str, *against: float) -> str:
    """A reading with its unit, in enough digits to stand on the same side of each limit as the value itself.

    Example: ``show(64.6, "°C", 65.0)`` is ``64.6 °C``, not ``65 °C``.
    """
    decimals = _DECIMALS.get(unit, 0)
    while decimals < _MOST_DECIMALS and any(_misleads(value, limit, decimals) for limit in against):
        decimals += 1
    return with_unit(plain(value, decimals), unit)


def decimals_for(uncertainty: float) -> int:
    """Digits after the point that an uncertainty asks for: one digit of it, two where it begins with 1 or 2."""
    if not math.isfinite(uncertainty) or uncertainty < 1e-12:
        return 1
    exponent = math.floor(math.log10(uncertainty))
    leading = uncertainty / 10.0**exponent
    return min(_MOST_DECIMALS, max(0, -exponent + (1 if leading < 2.95 else 0)))


def show_result(value: float, expanded: float, unit: str) -> str:
    """A result with its expanded uncertainty, both to the digits that the uncertainty carries: ``752 ± 6 rpm``."""
    if expanded < 1e-12:
        return with_unit(short(value), unit)
    decimals = decimals_for(expanded)
    return with_unit(f"{plain(value, decimals)} ± {plain(expanded, decimals)}", unit)


def _misleads(value: float, limit: float, decimals: int) -> bool:
    shown, shown_limit = round(value, decimals), round(limit, max(decimals, _needed(limit)))
    return (value < limit) != (shown < shown_limit) or (value > limit) != (shown > shown_limit)


def _needed(value: float) -> int:
    for decimals in range(_MOST_DECIMALS):
        if math.isclose(round(value, decimals), value, rel_tol=1e-12, abs_tol=1e-12):
            return decimals
    return _MOST_DECIMALS
