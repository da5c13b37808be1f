"""Bytes to values and back: exact, and refused rather than bent."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.book.scaled import decode, encode
from asleft.model.errors import AsleftError, Code
from asleft.model.step_more import CodedText, Scaling, ScalingKind

NUMBER, CODED = ScalingKind.NUMBER, ScalingKind.CODED
WORDS = (CodedText(0, "off"), CodedText(1, "on"))

whole = st.builds(
    Scaling,
    kind=st.just(NUMBER),
    at=st.integers(0, 3),
    length=st.integers(1, 4),
    signed=st.booleans(),
    big_endian=st.booleans(),
    factor=st.sampled_from([1.0, 0.25, 0.1, 0.0078125, 3.0, -0.5]),
    offset=st.sampled_from([0.0, -40.0, 0.3]),
)
bits = st.tuples(st.integers(0, 7), st.integers(1, 8)).filter(lambda b: b[0] + b[1] <= 8)


@given(scaling=whole, data=st.binary(min_size=7, max_size=9))
def test_what_is_read_is_written_back_as_it_was(scaling: Scaling, data: bytes) -> None:
    assert encode(scaling, repr(decode(scaling, data)), data) == data


@given(place=bits, data=st.binary(min_size=2, max_size=2), raw=st.integers(0, 255))
def test_bits_are_changed_alone(place: tuple[int, int], data: bytes, raw: int) -> None:
    bit, count = place
    scaling = Scaling(NUMBER, 1, 0, bit, count)
    raw %= 1 << count
    written = encode(scaling, str(raw), data)
    mask = ((1 << count) - 1) << bit
    assert decode(scaling, written) == raw
    assert written[0] == data[0]
    assert (written[1] ^ data[1]) & ~mask & 0xFF == 0


@pytest.mark.parametrize(
    ("scaling", "data"),
    [
        (Scaling(NUMBER, 0, 2), b"\x01"),
        (Scaling(ScalingKind.HEX, 2), b"\x01\x02"),
        (Scaling(ScalingKind.TEXT), b"\xff\xfe"),
        (Scaling(ScalingKind.TEXT), b"a\x07"),
        (Scaling(CODED, 0, 1, texts=WORDS), b"\x02"),
    ],
)
def test_an_answer_out_of_form_is_no_value(scaling: Scaling, data: bytes) -> None:
    with pytest.raises(AsleftError) as caught:
        decode(scaling, data)
    assert caught.value.code is Code.ANSWER_MALFORMED


@pytest.mark.parametrize(
    ("scaling", "typed", "old"),
    [
        (Scaling(NUMBER, 0, 1), "256", b""),
        (Scaling(NUMBER, 0, 1), "-1", b""),
        (Scaling(NUMBER, 0, 1, factor=0.5), "0.3", b""),
        (Scaling(NUMBER, 0, 1), "nan", b""),
        (Scaling(NUMBER, 0, 1), "1e999999", b""),
        (Scaling(NUMBER, 0, 1), "twelve", b""),
        (Scaling(NUMBER, 2, 1), "1", b"a"),
        (Scaling(NUMBER, 0, 0, 2, 2), "4", b"a"),
        (Scaling(NUMBER, 0, 0, 2, 2), "1", b""),
        (Scaling(CODED, 0, 1, texts=WORDS), "maybe", b""),
        (Scaling(ScalingKind.TEXT, 0, 3), "ab", b""),
        (Scaling(ScalingKind.TEXT, 0, 3), "ab\u00e4", b""),
        (Scaling(ScalingKind.HEX, 0, 2), "0G 11", b""),
    ],
)
def test_what_the_bytes_cannot_hold_is_refused(scaling: Scaling, typed: str, old: bytes) -> None:
    with pytest.raises(AsleftError) as caught:
        encode(scaling, typed, old)
    assert caught.value.code is Code.IDENTIFIER_IMPOSSIBLE


def test_texts_and_words() -> None:
    assert decode(Scaling(ScalingKind.TEXT), b"E1620\x00 ") == "E1620"
    assert decode(Scaling(ScalingKind.HEX), b"\x01\xab") == "01 AB"
    assert decode(Scaling(CODED, 0, 1, texts=WORDS), b"\x01") == "on"
    assert encode(Scaling(CODED, 0, 1, texts=WORDS), "on") == b"\x01"
    assert encode(Scaling(ScalingKind.HEX, 0, 2), "01 AB") == b"\x01\xab"
