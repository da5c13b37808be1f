"""Service 09 on CAN: VIN, calibration identifications and verification numbers, name of the module.

Source: ISO 15031-5 / SAE J1979, service 09; check values, section 2. Information type 00 has no count byte.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from asleft.codec.answer import AnswerMalformed, byte, expect, expect_length

from .bitmaps import BITMAP_IDS, supported

VIN, CALIBRATION_ID, VERIFICATION_NUMBER, MODULE_NAME = 0x02, 0x04, 0x06, 0x0A


class VehicleInfo(msgspec.Struct, frozen=True):
    """Answer to one information type: texts, or what is supported.

    Attributes:
        infotype: what was asked.
        texts: VIN; calibration identifications; verification numbers in hexadecimal; module name.
        supported: information types, for a bitmap.
        raw: data bytes after the information type.
    """

    infotype: int
    texts: tuple[str, ...]
    supported: frozenset[int]
    raw: bytes


def info_request(infotype: int) -> bytes:
    """Service 09 for one information type."""
    return bytes((0x09, byte(infotype, "information type")))


def read_info(reply: bytes, infotype: int) -> VehicleInfo:
    """Read the answer.

    Raises: AnswerMalformed: another service or type; count and length do not agree; unprintable characters.
    """
    rest = expect(reply, bytes((0x49, infotype)), 1)
    if infotype in BITMAP_IDS:
        return VehicleInfo(infotype, (), supported(infotype, rest), rest)
    reader = _READERS.get(infotype)
    texts = reader(reply, rest) if reader else ()
    return VehicleInfo(infotype, texts, frozenset(), rest)


def _items(reply: bytes, rest: bytes, size: int) -> list[bytes]:
    body = expect_length(reply, rest[1:], rest[0] * size)
    return [body[i : i + size] for i in range(0, len(body), size)]


def _text(reply: bytes, data: bytes) -> str:
    stripped = data.strip(b"\x00 ")
    if any(not 0x20 <= c <= 0x7E for c in stripped):
        raise AnswerMalformed(reply, "characters that cannot be printed")
    return stripped.decode("ascii")


def _vin(reply: bytes, rest: bytes) -> tuple[str, ...]:
    texts = tuple(_text(reply, item) for item in _items(reply, rest, 17))
    if len(texts) != 1:
        raise AnswerMalformed(reply, "one VIN is expected")
    return texts


def _calibrations(reply: bytes, rest: bytes) -> tuple[str, ...]:
    return tuple(_text(reply, item) for item in _items(reply, rest, 16))


def _verifications(reply: bytes, rest: bytes) -> tuple[str, ...]:
    return tuple(item.hex().upper() for item in _items(reply, rest, 4))


def _name(reply: bytes, rest: bytes) -> tuple[str, ...]:
    found: list[str] = []
    for item in _items(reply, rest, 20):
        short, long = _text(reply, item[:4]), _text(reply, item[5:])
        found.append(f"{short} {long}".strip())
    return tuple(found)


_READERS: dict[int, Callable[[bytes, bytes], tuple[str, ...]]] = {
    VIN: _vin,
    CALIBRATION_ID: _calibrations,
    VERIFICATION_NUMBER: _verifications,
    MODULE_NAME: _name,
}
