"""How numbers are shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.model.numbers import decimals_for, plain, short, show, show_result


@pytest.mark.parametrize(
    ("value", "unit", "against", "text"),
    [
        (58.0, "°C", (65.0,), "58 °C"),
        (64.6, "°C", (65.0,), "64.6 °C"),
        (65.0, "°C", (65.0,), "65 °C"),
        (64.9999, "°C", (65.0,), "64.9999 °C"),
        (12.384, "V", (), "12.38 V"),
        (-0.001, "%", (), "0.0 %"),
        (-7.0, "°C", (), "−7 °C"),
        (1.01, "1", (), "1.010"),
    ],
)
def test_a_reading(value: float, unit: str, against: tuple[float, ...], text: str) -> None:
    assert show(value, unit, *against) == text


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (752.3, 6.2, "752 ± 6 rpm"),
        (0.392, 0.32, "0.4 ± 0.3 rpm"),
        (1.0083, 0.0163, "1.008 ± 0.016 rpm"),
        (2.0, 0.0, "2 rpm"),
    ],
)
def test_a_result_has_the_digits_of_its_uncertainty(value: float, expanded: float, text: str) -> None:
    assert show_result(value, expanded, "rpm") == text


@pytest.mark.parametrize(("u", "decimals"), [(6.0, 0), (2.0, 1), (0.3, 1), (0.29, 2), (0.03, 2), (15.0, 0), (0.0, 1)])
def test_digits_of_an_uncertainty(u: float, decimals: int) -> None:
    assert decimals_for(u) == decimals


@pytest.mark.parametrize(("value", "text"), [(65.0, "65"), (12.4, "12.4"), (0.05, "0.05"), (-40.0, "−40")])
def test_a_limit_has_no_needless_noughts(value: float, text: str) -> None:
    assert short(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(float("nan"), "not a number"), (float("inf"), "∞"), (float("-inf"), "−∞")]
)
def test_what_is_no_number_is_said_so(value: float, text: str) -> None:
    assert plain(value, 1) == text


@given(st.floats(-1e4, 1e4), st.integers(-10000, 10000).map(lambda i: i / 100))
def test_what_is_shown_stands_on_the_same_side_of_the_limit(value: float, limit: float) -> None:
    shown = float(show(value, "°C", limit).removesuffix(" °C").replace("−", "-"))
    if abs(value - limit) > 1e-5:
        assert (shown < limit) == (value < limit)
