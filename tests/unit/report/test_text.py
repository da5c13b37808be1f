"""Text and numbers made fit to print."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from asleft.report.number import expanded, plain, shown
from asleft.report.text import BREAK, breakable, everywhere, shortened, visible


@given(st.text())
def test_nothing_unseen_is_left(text: str) -> None:
    out = visible(text)
    assert all(c == "\n" or c.isprintable() for c in out)


def test_a_direction_sign_is_shown_by_number() -> None:
    assert visible("a\u202eb\x00") == "a[U+202E]b[U+0000]"
    assert visible("x😀", {"😀"}) == "x[U+1F600]"


@given(st.text())
def test_breaking_adds_only_places_to_break(text: str) -> None:
    clean = text.replace(BREAK, "")
    assert breakable(clean).replace(BREAK, "") == clean


def test_a_hash_stays_whole_and_a_long_word_does_not() -> None:
    assert breakable("ab" * 32) == "ab" * 32
    assert BREAK in breakable("W" * 30)


@given(st.text(), st.integers(1, 40))
def test_shortened_is_never_longer(text: str, most: int) -> None:
    assert len(shortened(text, most)) <= most


def test_everywhere_changes_texts_and_leaves_keys() -> None:
    assert everywhere({"a": ["x", 1, ("y",)]}, str.upper) == {"a": ["X", 1, ["Y"]]}


def test_a_value_has_the_decimals_of_its_uncertainty() -> None:
    """JCGM 100:2008, 7.2.6: example of m_S = 100.021 47 g with u = 0.35 mg given as 100.02147(35)."""
    assert shown(100.02147, 0.00035 / 2) == "100.02147"
    assert expanded(0.00035 / 2) == "0.00035"
    assert (shown(752.314, 3.1), expanded(3.1)) == ("752.3", "6.2")
    assert (shown(752.314, 49.9), expanded(49.9)) == ("752", "100")
    assert (shown(-0.0001, 0.05), expanded(0.0)) == ("0.00", "0")


@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e4))
def test_rounding_never_exceeds_half_a_last_digit(value: float, u: float) -> None:
    text = shown(value, u)
    decimals = len(text.partition(".")[2])
    assert abs(float(text) - value) <= 0.5 * 10.0**-decimals + 1e-9


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_plain_number_reads_back(value: float) -> None:
    assert math.isclose(float(plain(value)), value, rel_tol=1e-5, abs_tol=1e-300)
