"""Messages of KWP2000 on the K-line: format byte, addresses, length, checksum; built and read apart from the tool's.

Source: ISO 14230-2 (recalled, not checked against the text); checksums as in public traces.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, unique

_SHORT = 0x3F


@unique
class Mode(IntEnum):
    """Address mode in bits 7 and 6 of the format byte."""

    NONE = 0x00
    CARB = 0x40
    PHYSICAL = 0x80
    FUNCTIONAL = 0xC0


@dataclass(frozen=True)
class Message:
    """One message.

    Attributes:
        data: service identifier and parameters, 1 to 255 bytes.
        mode: address mode; without addresses ``target`` and ``source`` are 0.
        target, source: addresses.
    """

    data: bytes
    mode: Mode = Mode.PHYSICAL
    target: int = 0
    source: int = 0

    def encode(self, *, length_byte: bool = False) -> bytes:
        """Bytes with checksum; the length stands in the format byte unless too long or ``length_byte``."""
        long = length_byte or len(self.data) > _SHORT
        head = bytes([self.mode | (0 if long else len(self.data))])
        if self.mode is not Mode.NONE:
            head += bytes([self.target, self.source])
        body = head + (bytes([len(self.data)]) if long else b"") + self.data
        return body + bytes([sum(body) & 0xFF])


def size(start: bytes) -> int | None:
    """Length in bytes of the whole message that begins so, checksum too; None: not known yet."""
    if not start:
        return None
    head = 1 if start[0] & 0xC0 == Mode.NONE else 3
    length = start[0] & _SHORT
    if length:
        return head + length + 1
    return None if len(start) <= head else head + 1 + start[head] + 1


def decode(whole: bytes) -> Message | None:
    """A complete message read; None when its length or checksum is wrong or it carries nothing."""
    if size(whole) != len(whole) or sum(whole[:-1]) & 0xFF != whole[-1]:
        return None
    mode = Mode(whole[0] & 0xC0)
    addressed = mode is not Mode.NONE
    start = (3 if addressed else 1) + (0 if whole[0] & _SHORT else 1)
    data = whole[start:-1]
    if not data:
        return None
    return Message(data, mode, whole[1] if addressed else 0, whole[2] if addressed else 0)
