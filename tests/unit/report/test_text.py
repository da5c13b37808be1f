"""Text made fit to print."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

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


def test_a_drawing_stays_whole() -> None:
    drawing = '<svg><path d="' + "M0,0L1,1" * 20 + '"/></svg>'
    assert breakable(drawing) == drawing


def test_a_hash_stays_whole_and_a_long_word_does_not() -> None:
    assert breakable("ab" * 32) == "ab" * 32
    assert BREAK in breakable("W" * 30)


@given(st.text(), st.integers(1, 40))
def test_shortened_is_never_longer(text: str, most: int) -> None:
    assert len(shortened(text, most)) <= most


def test_everywhere_changes_texts_and_leaves_keys() -> None:
    assert everywhere({"a": ["x", 1, ("y",)]}, str.upper) == {"a": ["X", 1, ["Y"]]}
