"""Numbers, units and dates as a place writes them."""

from __future__ import annotations

from datetime import date

import pytest
from babel.dates import format_skeleton
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from asleft.report.profile import LOCALES
from asleft.report.quantity import Numbers

EN = Numbers(LOCALES["en"], customary=False)
DE = Numbers(LOCALES["de"], customary=False)
BOTH = Numbers(LOCALES["en-US"], customary=True)


def test_a_value_has_the_decimals_of_its_uncertainty() -> None:
    """JCGM 100:2008, 7.2.2 and 7.2.6: m = 100.021 47 g with u = 0.35 mg; U = 0.7 mg carries one digit here."""
    assert EN.value(100.02147, "1", 0.00035) == "100.0215"
    assert EN.expanded(0.00035, "1") == "0.0007"
    assert (EN.quantity(752.314, "rpm", 3.1), EN.expanded(3.1, "rpm")) == ("752 rpm", "6")
    assert (EN.value(-0.0001, "V", 0.05), EN.expanded(0.0, "V")) == ("0.00", "0")


@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e4))
def test_rounding_never_hides_more_than_the_uncertainty(value: float, u: float) -> None:
    text = EN.value(value, "1", u).replace("−", "-")
    assert abs(float(text) - value) <= u


@pytest.mark.parametrize("tag", LOCALES)
def test_decimal_sign_and_date_against_the_cldr(tag: str) -> None:
    """Unicode CLDR by Babel: decimal sign; order and sign of a numeric date (``en`` is ISO 8601 by choice)."""
    n, babel = Numbers(LOCALES[tag], customary=False), tag.replace("-", "_")
    assert n.fixed(12.5) == format_decimal(12.5, locale=babel)
    printed = n.wall("2031-04-17T08:30:01.250Z")
    if tag == "en":
        assert printed == "2031-04-17 08:30:01 UTC"
        return
    cldr = format_skeleton("yMd", date(2031, 4, 17), locale=babel)
    assert printed.split()[0].replace("04", "4") == cldr.replace("04", "4")


def test_a_comma_only_in_numbers() -> None:
    assert [DE.text(t) for t in ("12.6", "−0.5", "SW 1.2", "1.2.3", "V1.0", "7")] == [
        "12,6",
        "−0,5",
        "SW 1.2",
        "1.2.3",
        "V1.0",
        "7",
    ]
    assert DE.range(0.95, 1.05, "1") == "0,95 to 1,05"


def test_customary_units_in_brackets_and_the_difference_trap() -> None:
    """NIST SP 811, B.8: a temperature has an offset, a difference or an uncertainty of temperatures has none."""
    assert BOTH.quantity(84.0, "°C", 0.5) == "84.0 °C [183.2 °F]"
    assert BOTH.expanded(0.5, "°C") == "1.0 [1.8]"
    assert BOTH.difference(10.0, "°C") == "10 °C [18 °F]"
    assert BOTH.range(5.0, 60.0, "°C") == "5 to 60 °C [41 to 140 °F]"
    assert BOTH.range(None, 100.0, "kPa", bare=True).startswith("≤ 100 [≤ 14.5")
    assert BOTH.quantity(12.6, "V", 0.02) == "12.60 V"
    assert BOTH.unit("°C") == "(°C [°F])"
    assert BOTH.unit("1") == ""


def test_a_reading_stays_on_its_side_of_a_limit() -> None:
    assert EN.against(64.6, "°C", 65.0, None) == "64.6 °C"
    assert BOTH.against(64.6, "°C", 65.0) == "64.6 °C [148 °F]"


def test_other_texts_than_times_stay() -> None:
    assert EN.wall("tomorrow") == "tomorrow"
    assert EN.wall("2031-04-17T10:30:01+02:00") == "2031-04-17 10:30:01 +02:00"
