"""Lengths of frames on the wire, against values computed by others."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.can_bits import crc15, frame_bits, stuff_bits

#: Exact least and greatest lengths over all identifiers and data, 11 and 29 bit, with 3 interframe bits.
#: Source: dynamic programming over (CRC state, run, last bit), made independently of this code; the CAN frame layout
#: is ISO 11898-1.
LEAST_11, MOST_11 = (48, 56, 64, 72, 79, 87, 95, 103, 111), (53, 62, 72, 83, 93, 102, 113, 124, 133)
LEAST_29, MOST_29 = (68, 76, 84, 92, 99, 107, 115, 123, 131), (78, 88, 98, 108, 118, 128, 138, 148, 158)


def test_examples_of_the_check_file(checks: Path) -> None:
    """CRC, stuff bits and length of nine frames computed by independent code."""
    with (checks / "vectors" / "can_frame_examples.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 9
    for row in rows:
        identifier, data, extended = int(row["id_hex"], 16), bytes.fromhex(row["data"]), row["ext"] == "1"
        assert crc15(identifier, data, extended=extended) == int(row["crc15"], 16), row
        assert stuff_bits(identifier, data, extended=extended) == int(row["stuff_bits"]), row
        assert frame_bits(identifier, data, extended=extended) == int(row["total_bits_incl_ifs"]), row


@pytest.mark.parametrize(
    ("identifier", "data", "extended", "crc", "stuffed", "bits"),
    [
        (0x7DF, "0201050000000000", False, 0x7C9C, 14, 125),
        (0x7E0, "023E00CCCCCCCCCC", False, 0x70DB, 6, 117),
        (0x18DB33F1, "0201050000000000", True, 0x2769, 12, 143),
        (0x000, "", False, 0x0000, 6, 53),
    ],
)
def test_examples(identifier: int, data: str, extended: bool, crc: int, stuffed: int, bits: int) -> None:
    """Some of the same frames, for machines without the check file."""
    content = bytes.fromhex(data)
    assert crc15(identifier, content, extended=extended) == crc
    assert stuff_bits(identifier, content, extended=extended) == stuffed
    assert frame_bits(identifier, content, extended=extended) == bits


def test_every_identifier_without_data_spans_the_exact_range() -> None:
    lengths = [frame_bits(identifier, b"") for identifier in range(0x800)]
    assert (min(lengths), max(lengths)) == (LEAST_11[0], MOST_11[0])


def test_every_identifier_and_byte_spans_the_exact_range() -> None:
    lengths = {frame_bits.__wrapped__(i, bytes([b])) for i in range(0x800) for b in range(256)}
    assert (min(lengths), max(lengths)) == (LEAST_11[1], MOST_11[1])


@given(st.integers(0, 0x7FF), st.binary(max_size=8))
def test_any_short_frame_lies_within_the_exact_range(identifier: int, data: bytes) -> None:
    assert LEAST_11[len(data)] <= frame_bits(identifier, data) <= MOST_11[len(data)]


@given(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8))
def test_any_long_frame_lies_within_the_exact_range(identifier: int, data: bytes) -> None:
    assert LEAST_29[len(data)] <= frame_bits(identifier, data, extended=True) <= MOST_29[len(data)]


def _slow_stuff_bits(identifier: int, data: bytes) -> int:
    """Plain text-book stuffing on a string of bits, written apart from the table code."""
    bits = f"0{identifier:011b}000{len(data):04b}" + "".join(f"{byte:08b}" for byte in data)
    register = 0
    for bit in bits:
        top = (register >> 14 & 1) ^ int(bit)
        register = register << 1 & 0x7FFF
        if top:
            register ^= 0x4599
    wire, inserted = "", 0
    for bit in bits + f"{register:015b}":
        wire += bit
        if wire[-5:] in {"00000", "11111"}:
            wire += "1" if bit == "0" else "0"
            inserted += 1
    return inserted


@given(st.integers(0, 0x7FF), st.binary(max_size=8))
def test_tables_stuff_as_the_text_book_does(identifier: int, data: bytes) -> None:
    assert stuff_bits(identifier, data) == _slow_stuff_bits(identifier, data)
