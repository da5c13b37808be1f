"""Units: factors from NIST SP 811 (2008), B.8, and the difference trap."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.model.errors import Code, InputError
from asleft.model.units import UNITS, convert, convert_difference

PINT_NAMES = {"°C": "degC", "°F": "degF", "1": "", "%": "percent", "Ω": "ohm", "°": "degree", "°/s": "degree/second",
              "m/s²": "m/s**2", "mm²": "mm**2", "N·m": "N*m", "lbf·ft": "lbf*ft", "in": "inch", "Ah": "A*hour",
              "rpm/s": "rpm/s", "g/s/L": "g/s/L"}  # fmt: skip


@pytest.mark.parametrize(
    ("value", "source", "target", "expected", "tolerance"),
    [
        (180, "°F", "°C", 82.2222, 5e-5),
        (195, "°F", "°C", 90.5556, 5e-5),
        (-40, "°F", "°C", -40, 1e-9),
        (1, "psi", "Pa", 6894.757, 5e-4),  # SP 811: 6.894 757 E+03
        (14.7, "psi", "kPa", 101.3529, 5e-5),
        (30, "psi", "kPa", 206.8427, 5e-5),
        (1, "mph", "m/s", 0.44704, 0),  # exact
        (1, "in", "mm", 25.4, 1e-12),  # exact
        (10, "lbf·ft", "N·m", 13.5582, 5e-5),
        (1, "bar", "kPa", 100, 1e-9),
    ],
)
def test_nist_sp_811(value: float, source: str, target: str, expected: float, tolerance: float) -> None:
    assert convert(value, source, target) == pytest.approx(expected, abs=tolerance)


def test_a_difference_of_180_fahrenheit_degrees_is_100_kelvin() -> None:
    assert convert_difference(180, "°F", "K") == pytest.approx(100)
    assert convert_difference(180, "°F", "°C") == pytest.approx(100)


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    """Half a second to make, so once."""
    return pint.UnitRegistry()


@pytest.mark.parametrize("symbol", [s for s, u in UNITS.items() if u.quantity not in ("count", "mass-flow-per-volume")])
def test_factors_agree_with_pint(registry: pint.UnitRegistry, symbol: str) -> None:
    """pint 0.25's own definitions, independent of ours."""
    base = next(s for s, u in UNITS.items() if u.quantity == UNITS[symbol].quantity)
    theirs = registry.Quantity(37.5, PINT_NAMES.get(symbol, symbol)).to(PINT_NAMES.get(base, base)).magnitude
    assert convert(37.5, symbol, base) == pytest.approx(theirs, rel=1e-12)


def test_unknown_and_mixed_units_are_refused() -> None:
    with pytest.raises(InputError) as unknown:
        convert(1, "furlong", "m")
    assert unknown.value.code is Code.UNIT_UNKNOWN
    with pytest.raises(InputError) as mixed:
        convert(1, "V", "kPa")
    assert mixed.value.code is Code.UNIT_MISMATCH


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)))
def test_there_and_back(value: float, source: str, target: str) -> None:
    if UNITS[source].quantity != UNITS[target].quantity:
        return
    back = convert(convert(value, source, target), target, source)
    assert math.isclose(back, value, rel_tol=1e-9, abs_tol=1e-6)
