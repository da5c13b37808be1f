"""18 (read trouble codes by status) and 14 (clear)."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from asleft.codec.answer import byte, expect, expect_length, word
from asleft.codec.trouble_code import text_of

#: Groups of codes. Source: ISO 14230-3; recalled.
ALL, POWERTRAIN = 0xFF00, 0x0000
#: Form of the request: identified codes and their status.
_WITH_STATUS = 0x02


@unique
class Storage(StrEnum):
    """Bits 6 and 5 of the status. Source: ISO 14230-3, statusOfDTC; recalled."""

    NONE = "none"
    STORED = "stored, not present"
    MATURING = "maturing"
    PRESENT = "stored and present"


class KwpCode(msgspec.Struct, frozen=True):
    """One trouble code with its status byte."""

    code: str
    status: int

    @property
    def storage(self) -> Storage:
        """What the status says of memory and presence."""
        return tuple(Storage)[self.status >> 5 & 3]

    @property
    def lamp(self) -> bool:
        """The code asks for a warning lamp (bit 7)."""
        return bool(self.status & 0x80)


def codes_request(group: int = ALL, form: int = _WITH_STATUS) -> bytes:
    """``18 form group``."""
    return bytes((0x18, byte(form, "form"))) + word(group, "group")


def read_codes(reply: bytes) -> tuple[KwpCode, ...]:
    """Codes after ``58 n``. Raises AnswerMalformed: number and length do not agree."""
    rest = expect(reply, b"\x58", 1)
    body = expect_length(reply, rest[1:], 3 * rest[0])
    return tuple(KwpCode(text_of(body[i : i + 2]), body[i + 2]) for i in range(0, len(body), 3))


def clear_request(group: int = ALL) -> bytes:
    """``14 group``."""
    return b"\x14" + word(group, "group")


def read_cleared(reply: bytes, group: int = ALL) -> None:
    """``54 group``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x54" + word(group, "group")), 0)
