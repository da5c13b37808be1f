"""Routine identifiers as printed: read in the form that is said, refused when impossible, shown with their bytes."""

from __future__ import annotations

import pytest

from asleft.book.identifier import choose, parse
from asleft.book.procedure import IdentifierRow, Printed
from asleft.model.errors import Code, InputError


@pytest.mark.parametrize(
    ("typed", "form"),
    [
        ("5A31", Printed.HEX),
        ("5a31", Printed.HEX),
        ("0x5A31", Printed.HEX),
        ("5A31h", Printed.HEX),
        ("$5A31", Printed.HEX),
        ("5A 31", Printed.HEX),
        ("  5A31 ", Printed.HEX),
        ("5A-31", Printed.HEX_BYTES),
        ("5A 31", Printed.HEX_BYTES),
        ("0x5A 0x31", Printed.HEX_BYTES),
        ("23089", Printed.DECIMAL),
        ("90-49", Printed.DECIMAL_BYTES),
        ("90 49", Printed.DECIMAL_BYTES),
        ("090-049", Printed.DECIMAL_BYTES),
    ],
)
def test_one_identifier_in_every_printed_form(typed: str, form: Printed) -> None:
    """0x5A31 = 23089 = 0x5A 0x31 = 90, 49."""
    found = parse(typed, form)
    assert found.value == 0x5A31
    assert found.request == bytes.fromhex("31015A31")
    assert found.result_request == bytes.fromhex("31035A31")
    assert found.stop_request == bytes.fromhex("31025A31")
    assert "31 01 5A 31" in found.shown.text


@pytest.mark.parametrize(
    ("typed", "form", "why"),
    [
        ("", Printed.HEX, "nothing was typed"),
        ("5A3", Printed.HEX, "3 digits; two bytes are four"),
        ("5A310", Printed.HEX, "5 digits"),
        ("5A3G", Printed.HEX, "'G' is no hexadecimal digit"),
        ("5AO1", Printed.HEX, "perhaps 0"),
        ("5Al1", Printed.HEX, "perhaps 1"),
        ("0x5A31h", Printed.HEX, "wrong place"),
        ("5А31", Printed.HEX, "may look like one"),
        ("65536", Printed.DECIMAL, "65536 is more than 65535"),
        ("230890", Printed.DECIMAL, "more digits"),
        ("5A31", Printed.DECIMAL, "hexadecimal, say so first"),
        ("-1", Printed.DECIMAL, "more than the digits"),
        ("90-256", Printed.DECIMAL_BYTES, "256 is more than 255"),
        ("9049", Printed.DECIMAL_BYTES, "two bytes are expected"),
        ("5A-3", Printed.HEX_BYTES, "3 is not two digits"),
    ],
)
def test_impossible_is_refused_with_why(typed: str, form: Printed, why: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(typed, form)
    assert caught.value.code is Code.IDENTIFIER_IMPOSSIBLE
    assert why in caught.value.detail


def test_the_same_digits_in_another_base_are_another_routine() -> None:
    """The base is said, never guessed."""
    assert parse("0201", Printed.HEX).value != parse("0201", Printed.DECIMAL).value == 201


ROWS = (
    IdentifierRow("ENG-1610-1", "ENGSW1610", "0x5A21", "line 1"),
    IdentifierRow("ENG-1620-1", "ENGSW1620", "0x5A31", "line 2"),
)


def test_exact_match_gives_row_and_identifier() -> None:
    found = choose(ROWS, "ENG-1620-1", "ENGSW1620", Printed.HEX)
    assert found.identifier.value == 0x5A31
    assert found.row.row == "line 2"
    assert "line 2" in found.shown.text


@pytest.mark.parametrize("part", ["ENG-1620-2", "eng-1620-1", "ENG-1620-1 ", "", "ENG-16201"])
def test_nothing_near_is_taken_but_the_nearest_is_shown(part: str) -> None:
    with pytest.raises(InputError) as caught:
        choose(ROWS, part, "ENGSW1620", Printed.HEX)
    assert caught.value.code is Code.NO_EXACT_MATCH
    assert "nearest is line" in caught.value.detail


def test_contradicting_rows_are_no_match() -> None:
    rows = (*ROWS, IdentifierRow("ENG-1620-1", "ENGSW1620", "0x5A32", "line 3"))
    with pytest.raises(InputError, match="different identifiers"):
        choose(rows, "ENG-1620-1", "ENGSW1620", Printed.HEX)


def test_no_rows() -> None:
    with pytest.raises(InputError, match="no table"):
        choose((), "A", "B", Printed.HEX)
