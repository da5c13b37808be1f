"""Quantities and times as one place writes them: decimal sign, date, customary units in brackets. Pure.

Example::

    n = Numbers(LOCALES["de"], customary=False)
    n.quantity(12.63, "V", 0.03)       # "12,63 V"
"""

from __future__ import annotations

import re

from asleft.model.numbers import decimals_for, plain, short, show, with_unit
from asleft.model.units import convert, convert_difference

from .profile import Locale

#: Unit of the record -> customary unit printed in brackets behind it, where a shop prefers both.
CUSTOMARY = {"°C": "°F", "kPa": "psi", "bar": "psi", "km/h": "mph", "mm": "in", "N·m": "lbf·ft"}
_NUMBER = re.compile(r"[-−+]?\d+\.\d+")
#: Coverage factor of every expanded uncertainty printed. Source: JCGM 100:2008, 6.3 (k = 2, about 95 %).
COVERAGE = 2.0


class Numbers:
    """Writes numbers for one place.

    Args: place: its decimal sign and date; customary: whether to add customary units in brackets; between: the word
        between two limits.
    """

    def __init__(self, place: Locale, *, customary: bool, between: str = "to") -> None:
        self._place = place
        self._between = between
        self._customary = customary

    def text(self, number: str) -> str:
        """A text that is one decimal number gets this place's decimal sign; every other text stays as it is."""
        return number.replace(".", self._place.decimal) if _NUMBER.fullmatch(number) else number

    def plain(self, value: float) -> str:
        """A number without an uncertainty: no needless noughts."""
        return self.text(short(value))

    def fixed(self, value: float, decimals: int = 1) -> str:
        """A number with so many decimals."""
        return self.text(plain(value, decimals))

    def value(self, value: float, unit: str, u: float) -> str:
        """A value without its unit, to the digits that its expanded uncertainty carries; customary behind it."""
        other = self._other(unit)
        text = self._rounded(value, u)
        return f"{text} [{self._rounded(convert(value, unit, other), _scaled(u, unit, other))}]" if other else text

    def quantity(self, value: float, unit: str, u: float) -> str:
        """A value with its unit, to the digits that its expanded uncertainty carries; customary behind it."""
        other = self._other(unit)
        text = with_unit(self._rounded(value, u), unit)
        if not other:
            return text
        converted = self._rounded(convert(value, unit, other), _scaled(u, unit, other))
        return f"{text} [{with_unit(converted, other)}]"

    def against(self, value: float, unit: str, *limits: float | None) -> str:
        """A reading with its unit, in enough digits to stand on the same side of each limit as it is."""
        other = self._other(unit)
        known = [x for x in limits if x is not None]
        text = self._told(show(value, unit, *known), unit)
        if not other:
            return text
        converted = show(convert(value, unit, other), other, *(convert(x, unit, other) for x in known))
        return f"{text} [{self._told(converted, other)}]"

    def expanded(self, u: float, unit: str) -> str:
        """U = 2 u without its unit; a difference: no offset is added."""
        other = self._other(unit)
        text = self._expanded(u)
        return f"{text} [{self._expanded(convert_difference(u, unit, other))}]" if other else text

    def difference(self, value: float, unit: str) -> str:
        """A difference or a step with its unit, in the digits usual for it."""
        other = self._other(unit)
        text = self._told(show(value, unit), unit)
        return f"{text} [{self._told(show(convert_difference(value, unit, other), other), other)}]" if other else text

    def step(self, value: float, unit: str) -> str:
        """A resolution with its unit: two digits that count, whatever is usual for the unit."""
        return with_unit(self.plain(float(f"{value:.2g}")), unit)

    def signed(self, value: float) -> str:
        """A deviation with its sign, one digit behind the point."""
        return f"+{self.fixed(value)}" if value > 0 else self.fixed(value)

    def range(self, low: float | None, high: float | None, unit: str, *, bare: bool = False) -> str:
        """``12 to 15 V``, ``≤ 1.2 %``, ``≥ 5 °C``, or nothing. ``bare``: without the units."""
        other = self._other(unit)
        text = self._range(low, high, "" if bare else unit)
        if not other or not text:
            return text
        a, b = (None if x is None else convert(x, unit, other) for x in (low, high))
        return f"{text} [{self._range(a, b, '' if bare else other)}]"

    def span(self, low: float, high: float, unit: str) -> str:
        """From the least to the greatest reading, with the digits usual for the unit."""
        return f"{self.against(low, unit)} {self._between} {self.against(high, unit)}"

    def unit(self, unit: str) -> str:
        """``(°C)``, ``(°C [°F])``, or nothing for a pure number."""
        if not with_unit("", unit):
            return ""
        other = self._other(unit)
        return f"({unit} [{other}])" if other else f"({unit})"

    def wall(self, wall: str) -> str:
        """RFC 3339 text as date, time and zone without parts of a second; anything else as it is."""
        date, sep, rest = wall.partition("T")
        if not sep or len(date) != 10 or len(rest) < 8:
            return wall
        zone = "UTC" if rest.endswith(("Z", "+00:00")) else rest[-6:]
        year, month, day = date[:4], date[5:7], date[8:]
        return f"{self._place.date.format(y=year, m=month, d=day)} {rest[:8]} {zone}"

    def _rounded(self, value: float, u: float) -> str:
        return self.text(plain(value, decimals_for(COVERAGE * u)) if u > 0 else short(value))

    def _expanded(self, u: float) -> str:
        return self.text(plain(COVERAGE * u, decimals_for(COVERAGE * u))) if u > 0 else "0"

    def _told(self, shown: str, unit: str) -> str:
        number = shown.removesuffix(f" {unit}")
        return self.text(number) + shown[len(number) :]

    def _other(self, unit: str) -> str:
        return CUSTOMARY.get(unit, "") if self._customary else ""

    def _range(self, low: float | None, high: float | None, unit: str) -> str:
        if low is not None and high is not None:
            return with_unit(f"{self.plain(low)} {self._between} {self.plain(high)}", unit)
        if high is not None:
            return with_unit(f"≤ {self.plain(high)}", unit)
        return with_unit(f"≥ {self.plain(low)}", unit) if low is not None else ""


def _scaled(u: float, unit: str, other: str) -> float:
    return convert_difference(u, unit, other)
