"""Numbers as a reader sees them: rounded to their uncertainty, never prettier than measured. Pure.

Example::

    shown(752.314, u=3.1)      # "752.3"
    expanded(3.1)              # "6.2"
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

#: Coverage factor printed beside every expanded uncertainty. Source: JCGM 100:2008, 6.3 (k = 2, about 95 %).
COVERAGE = 2.0
_MOST_DECIMALS = 6


def shown(value: float, u: float | None = None) -> str:
    """A value with as many decimals as its expanded uncertainty has after rounding to two digits.

    Args: value: any finite number; u: its standard uncertainty, same unit, ≥ 0; None or 0: six significant digits.
    Source: JCGM 100:2008, 7.2.6 (two significant digits at most for the uncertainty).
    """
    if u:
        return _fixed(value, _decimals(COVERAGE * u))
    return plain(value)


def expanded(u: float) -> str:
    """Expanded uncertainty U = k u with k = 2, to two significant digits; ``0`` when none is stated."""
    return _fixed(COVERAGE * u, _decimals(COVERAGE * u)) if u else "0"


def plain(value: float) -> str:
    """A number without an uncertainty: six significant digits, no trailing zeros, no exponent if it can be."""
    if not math.isfinite(value):
        return str(value)
    text = f"{value:.6g}"
    if "e" in text:
        return text
    return text.rstrip("0").rstrip(".") if "." in text else text


def _decimals(expanded_u: float) -> int:
    if not math.isfinite(expanded_u) or expanded_u <= 0:
        return 0
    digits = 1 - math.floor(math.log10(expanded_u))
    if round(expanded_u, digits) >= 10 ** (2 - digits):
        digits -= 1
    return max(0, min(_MOST_DECIMALS, digits))


def _fixed(value: float, decimals: int) -> str:
    if not math.isfinite(value):
        return str(value)
    text = str(Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN))
    return text.lstrip("-") if set(text) <= set("-0.") else text
