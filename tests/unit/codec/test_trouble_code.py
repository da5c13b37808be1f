"""Trouble codes: text and bytes, status, failure types, descriptions."""

from __future__ import annotations

import pytest

from asleft.codec.trouble_code import (
    Status,
    bytes_of,
    describe,
    failure_type_message,
    is_generic,
    join_code,
    split_code,
    status_messages,
    text_of,
)
from asleft.codec.trouble_failure_types import FAILURE_TYPES
from asleft.codec.trouble_texts import TEXTS
from asleft.model.errors import InputError

#: Codes that TRADE names beside its functions.
NAMED = [
    "P0011", "P0016", "P0019", "P0025", "P0045", "P0049", "P0087", "P0088", "P0089", "P0090", "P0092", "P0121", "P0122",
    "P0123", "P0128", "P0171", "P0191", "P0193", "P0234", "P0263", "P0266", "P0269", "P0272", "P0299", "P0300", "P0308",
    "P0315", "P0401", "P0402", "P0403", "P0404", "P0405", "P0440", "P0446", "P0455", "P0457", "P0505", "P0506", "P0507",
    "P0510", "P0513", "P0602", "P0603", "P0605", "P0606", "P0630", "P0633", "P0638", "P0705", "P0706", "P0730", "P0736",
    "P0741", "P0776", "P0805", "P0808", "P0810", "P0900", "P0904", "P0A0A", "P0A3F", "P0A44", "P0A7F", "P0A80", "P0AA1",
    "P0AA4", "P0AA6", "P2002", "P203F", "P204F", "P207F", "P20EE", "P2101", "P2119", "P2122", "P2127", "P2135", "P2138",
    "P2176", "P2262", "P2263", "P242F", "P244A", "P2452", "P2455", "P2459", "P2463", "P2563", "P2700", "P2787", "P2831",
    "C0044", "C0045", "C0051", "C0061", "C0064", "C0069", "U0126", "U0131", "U0164", "U0301", "U0428",
]  # fmt: skip


def test_every_code_named_beside_a_function_has_a_text() -> None:
    assert [code for code in NAMED if code not in TEXTS] == []
    assert len(TEXTS) >= 150


def test_texts_are_of_generic_codes_and_short() -> None:
    for code, words in TEXTS.items():
        assert is_generic(code), code
        assert 5 <= len(words) <= 64, code
        assert text_of(bytes_of(code)) == code


def test_texts_differ() -> None:
    assert len(set(TEXTS.values())) == len(TEXTS)


@pytest.mark.parametrize(
    "code", ["", "P", "P042", "P04200", "X0420", "P4420", "P04G0", "P 420", "P0 42", "P0-12", "P０420", "0420P"]
)
def test_impossible_codes(code: str) -> None:
    with pytest.raises(InputError):
        bytes_of(code)


def test_lower_case_is_taken() -> None:
    assert bytes_of("p20ee") == bytes_of("P20EE")
    assert describe("p2176").id == "trouble-code.P2176"


@pytest.mark.parametrize("data", [b"", b"\x04", b"\x04\x20\x00"])
def test_wrong_number_of_bytes(data: bytes) -> None:
    with pytest.raises(ValueError):
        text_of(data)


@pytest.mark.parametrize("data", [b"", b"\x04\x20", b"\x04\x20\x00\x00"])
def test_wrong_number_of_bytes_with_failure_type(data: bytes) -> None:
    with pytest.raises(ValueError):
        split_code(data)


@pytest.mark.parametrize(
    ("code", "generic"),
    [
        ("P0420", True), ("P1420", False), ("P2176", True), ("P3000", False), ("P33FF", False), ("P3400", True),
        ("P3FFF", True), ("C0044", True), ("C1044", False), ("C2044", False), ("C3044", False), ("B0001", True),
        ("B1001", False), ("U0100", True), ("U1100", False), ("U2100", False), ("U3000", True),
    ],
)  # fmt: skip
def test_who_defines_a_code(code: str, generic: bool) -> None:
    assert is_generic(code) is generic


@pytest.mark.parametrize(
    ("code", "message_id"),
    [
        ("P0507", "trouble-code.P0507"), ("P0399", "trouble-area.P03"), ("P0B12", "trouble-area.P0B"),
        ("P1507", "trouble-area.maker"), ("C0F00", "trouble-area.C0"), ("U0142", "trouble-area.U01"),
        ("U3003", "trouble-area.U3"), ("P0E00", "trouble-area.system"),
    ],
)  # fmt: skip
def test_descriptions(code: str, message_id: str) -> None:
    message = describe(code)
    assert message.id == message_id
    assert message.text
    assert "{" not in message.text


def test_the_makers_codes_say_so() -> None:
    assert describe("B1234").text == "Defined by the maker: body"


def test_status_bits() -> None:
    said = {message.id for message in status_messages(0x89)}
    assert said == {"trouble-status.test-failed", "trouble-status.confirmed", "trouble-status.lamp-requested"}
    assert status_messages(0) == ()
    assert len(status_messages(0xFF)) == 8
    assert Status(0x2F).name is not None


def test_failure_types_that_name_a_missing_function() -> None:
    """Source: SAE J2012-DA / ISO 15031-6, recalled."""
    words = {number: FAILURE_TYPES[number] for number in (0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57, 0x4A, 0x78)}
    assert words == {
        0x51: "not programmed",
        0x52: "not activated",
        0x53: "deactivated",
        0x54: "calibration missing",
        0x55: "not configured",
        0x56: "configuration invalid or incompatible",
        0x57: "software component invalid or incompatible",
        0x4A: "wrong component installed",
        0x78: "alignment or adjustment wrong",
    }
    assert failure_type_message(0x54).id == "failure-type.54"
    assert failure_type_message(0xEE).text == "failure type EE"


def test_join() -> None:
    assert join_code("P2176", 0x54) == bytes.fromhex("217654")
