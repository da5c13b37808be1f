"""Trouble codes: bytes to text and back, status bits, failure types, and what a code is about.

Use::

    text_of(bytes.fromhex("0420"))  # 'P0420'
    split_code(bytes.fromhex("812345"))  # ('B0123', 0x45)
    describe("P2176").text  # 'Closed position of the throttle not learned'

Descriptions are short, in our own words, and cover generic codes only; for the others the standard's area is named, and
that the maker defines them. Source: SAE J2012 / ISO 15031-6 (layout; check values, section 3: all 65,536 codes
recomputed), ISO 14229-1 annex D (status bits). Meanings and areas are recalled, not checked against the text.
"""

from __future__ import annotations

import re
from enum import IntFlag

from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say

from .trouble_areas import AREAS, SYSTEMS
from .trouble_failure_types import FAILURE_TYPES
from .trouble_texts import TEXTS

_LETTERS = "PCBU"
_FORM = re.compile(r"[PCBU][0-3][0-9A-F]{3}", re.IGNORECASE | re.ASCII)


class Status(IntFlag):
    """Bits of the status byte. Source: ISO 14229-1, D.2; check values, section 3."""

    TEST_FAILED = 1
    FAILED_THIS_CYCLE = 2
    PENDING = 4
    CONFIRMED = 8
    NOT_COMPLETED_SINCE_CLEAR = 16
    FAILED_SINCE_CLEAR = 32
    NOT_COMPLETED_THIS_CYCLE = 64
    LAMP_REQUESTED = 128


_STATUS_WORDS: dict[Status, str] = {
    Status.TEST_FAILED: "present now",
    Status.FAILED_THIS_CYCLE: "failed in this operation cycle",
    Status.PENDING: "pending",
    Status.CONFIRMED: "confirmed",
    Status.NOT_COMPLETED_SINCE_CLEAR: "not yet tested since codes were cleared",
    Status.FAILED_SINCE_CLEAR: "failed since codes were cleared",
    Status.NOT_COMPLETED_THIS_CYCLE: "not yet tested in this operation cycle",
    Status.LAMP_REQUESTED: "asks for a warning lamp",
}


def text_of(data: bytes) -> str:
    """Two bytes as five characters.

    Raises: ValueError: not two bytes.
    Source: ISO 15031-6: bits 15 and 14 are the letter, 13 and 12 the first digit, then three hexadecimal digits.
    """
    if len(data) != 2:
        raise ValueError("a trouble code has two bytes")
    number = int.from_bytes(data, "big")
    return f"{_LETTERS[number >> 14]}{number >> 12 & 3}{number & 0xFFF:03X}"


def bytes_of(code: str) -> bytes:
    """Five characters as two bytes; lower case is taken too.

    Raises: InputError (identifier-impossible): no such code can exist.
    """
    if not _FORM.fullmatch(code):
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"trouble code {code}: a letter of P C B U, 0 to 3, three digits")
    letter = _LETTERS.index(code[0].upper())
    return (letter << 14 | int(code[1]) << 12 | int(code[2:], 16)).to_bytes(2, "big")


def split_code(data: bytes) -> tuple[str, int]:
    """Three bytes as code and failure type. Raises ValueError: not three bytes."""
    return text_of(data[:2]), _third(data)


def join_code(code: str, failure_type: int = 0) -> bytes:
    """Code and failure type as three bytes. Raises InputError."""
    return bytes_of(code) + bytes((failure_type,))


def _third(data: bytes) -> int:
    if len(data) != 3:
        raise ValueError("a trouble code with failure type has three bytes")
    return data[2]


def status_messages(status: int) -> tuple[Message, ...]:
    """What each bit set in a status byte says."""
    return tuple(
        say(f"trouble-status.{bit.name or ''}".lower().replace("_", "-"), words)
        for bit, words in _STATUS_WORDS.items()
        if status & bit
    )


def failure_type_message(failure_type: int) -> Message:
    """What a failure-type byte says; unknown ones keep their number. 00 says nothing more."""
    words = FAILURE_TYPES.get(failure_type)
    if words is None:
        return say("failure-type.unknown", "failure type {number}", number=f"{failure_type:02X}")
    return say(f"failure-type.{failure_type:02x}", words)


def is_generic(code: str) -> bool:
    """Whether the standard, not the maker, defines the code.

    Raises: InputError: no such code.
    Source: SAE J2012 / ISO 15031-6: P0, P2, P34 to P3F, C0, B0, U0 and U3; recalled.
    """
    bytes_of(code)
    letter, digit, third = code[0].upper(), code[1], code[2].upper()
    if letter == "P":
        return digit in "02" or (digit == "3" and third >= "4")
    return digit == "0" or (letter == "U" and digit == "3")


def describe(code: str) -> Message:
    """What a code is about, in a few words: its own text, else the standard's area.

    Raises: InputError: no such code.
    """
    bytes_of(code)
    code = code.upper()
    words = TEXTS.get(code)
    if words is not None:
        return say(f"trouble-code.{code}", words)
    if not is_generic(code):
        return say("trouble-area.maker", "Defined by the maker: {system}", system=SYSTEMS[code[0]])
    area = next((key for key in (code[:3], code[:2]) if key in AREAS), None)
    if area is None:
        return say("trouble-area.system", "Generic code: {system}", system=SYSTEMS[code[0]])
    return say(f"trouble-area.{area}", AREAS[area])
