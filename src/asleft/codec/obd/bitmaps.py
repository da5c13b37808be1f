"""Which parameters, information types or monitors a module supports: bitmaps of 32, high bit first.

Source: ISO 15031-5 / SAE J1979; check values, section 2.
"""

from __future__ import annotations

from asleft.codec.answer import AnswerMalformed

#: Identifiers that carry a bitmap themselves.
BITMAP_IDS = (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0xE0)


def supported(base: int, data: bytes) -> frozenset[int]:
    """Identifiers ``base``+1 to ``base``+32 that are supported.

    Args:
        base: identifier of the bitmap, 00, 20, 40 …
        data: exactly four bytes: no count byte on CAN.
    Raises: AnswerMalformed: another length.
    """
    if len(data) != 4:
        raise AnswerMalformed(data, "a support bitmap has four bytes")
    bits = int.from_bytes(data, "big")
    return frozenset(base + n for n in range(1, 33) if bits >> (32 - n) & 1)


def next_bitmap(base: int, found: frozenset[int]) -> int | None:
    """The bitmap to ask for next, or None: the last bit of each says whether there is another."""
    following = base + 0x20
    return following if following in found and following <= 0xE0 else None
