"""The four kinds of ISO-TP frame: bytes to values and back. Knows nothing of states, identifiers or time.

``parse`` gives ``None`` for what the standard tells a receiver to ignore: it never raises on bytes from a bus::

    parse(bytes.fromhex("0322F190"))  # Single(b'\\x22\\xf1\\x90')

Source: ISO 15765-2:2016, 9.2 to 9.6; recalled, not checked against the text.
"""

from __future__ import annotations

from enum import IntEnum, unique

import msgspec

#: Frame lengths that a first frame may have: the classic 8 and the CAN FD ones above.
LONG_LENGTHS = (8, 12, 16, 20, 24, 32, 48, 64)
#: Longest message that the 12-bit length of a first frame can announce.
SHORT_FORM_MAX = 4095
#: Longest message that the escape length can announce.
LONG_FORM_MAX = 0xFFFF_FFFF
#: What a sender uses for a reserved STmin: the longest one, s.
RESERVED_ST_MIN_S = 0.127


@unique
class FlowStatus(IntEnum):
    """What a receiver says in a flow control frame."""

    CONTINUE = 0
    WAIT = 1
    OVERFLOW = 2


class Single(msgspec.Struct, frozen=True):
    """A whole message in one frame."""

    payload: bytes


class First(msgspec.Struct, frozen=True):
    """The beginning of a longer message: announced length, first bytes, length of the frame that carried them."""

    length: int
    data: bytes
    frame_length: int


class Consecutive(msgspec.Struct, frozen=True):
    """A continuation: sequence number 0 to 15, bytes (padding included), length of the frame."""

    number: int
    data: bytes
    frame_length: int


class Flow(msgspec.Struct, frozen=True):
    """Flow control: status as sent (0 to 15), block size (0: no limit), STmin as sent."""

    status: int
    block_size: int
    st_min: int


Pdu = Single | First | Consecutive | Flow


def st_min_s(raw: int) -> float:
    """Least time between consecutive frames, s, from the byte on the wire; reserved values mean 127 ms.

    Source: ISO 15765-2:2016, 9.6.5.4 and 9.6.5.5; recalled.
    """
    if raw <= 0x7F:
        return raw / 1000
    if 0xF1 <= raw <= 0xF9:
        return (raw - 0xF0) / 10_000
    return RESERVED_ST_MIN_S


def single_room(frame_length: int, prefix: int) -> int:
    """Longest payload of a single frame, bytes, in frames of ``frame_length`` with ``prefix`` address bytes."""
    return 7 - prefix if frame_length <= 8 else frame_length - 2 - prefix


def parse(data: bytes, prefix: int = 0) -> Pdu | None:
    """Read one frame's data field.

    Args:
        data: the data bytes of the CAN frame, 0 to 64.
        prefix: bytes of extended address in front, 0 or 1.
    Returns: the frame, or None for one that a receiver ignores.
    """
    body = data[prefix:]
    if not body:
        return None
    kind = body[0] >> 4
    if kind == 0:
        return _single(body, len(data), prefix)
    if kind == 1:
        return _first(body, len(data), prefix)
    if kind == 2:
        return Consecutive(body[0] & 0x0F, body[1:], len(data))
    if kind == 3 and len(body) >= 3:
        return Flow(body[0] & 0x0F, body[1], body[2])
    return None


def _single(body: bytes, frame_length: int, prefix: int) -> Single | None:
    length, start = body[0] & 0x0F, 1
    if frame_length > 8:
        if length != 0:
            return None
        length, start = body[1], 2
    if not 1 <= length <= single_room(frame_length, prefix) or len(body) < start + length:
        return None
    return Single(body[start : start + length])


def _first(body: bytes, frame_length: int, prefix: int) -> First | None:
    if frame_length not in LONG_LENGTHS:
        return None
    length, start = (body[0] & 0x0F) << 8 | body[1], 2
    if length == 0:
        length, start = int.from_bytes(body[2:6], "big"), 6
        if length <= SHORT_FORM_MAX:
            return None
    if length <= single_room(frame_length, prefix):
        return None
    return First(length, body[start:], frame_length)


def make_single(payload: bytes, frame_length: int, prefix: int) -> bytes:
    """Body of a single frame, without address byte and padding; the payload must fit (see ``single_room``)."""
    if len(payload) <= single_room(8, prefix):
        return bytes((len(payload),)) + payload
    if len(payload) > single_room(frame_length, prefix):
        raise ValueError(f"{len(payload)} bytes do not fit in a single frame")
    return bytes((0, len(payload))) + payload


def make_first(payload: bytes, frame_length: int, prefix: int) -> tuple[bytes, int]:
    """Body of the first frame of ``payload``, and how many of its bytes that carries."""
    if len(payload) <= SHORT_FORM_MAX:
        head = bytes((0x10 | len(payload) >> 8, len(payload) & 0xFF))
    else:
        head = b"\x10\x00" + len(payload).to_bytes(4, "big")
    taken = frame_length - prefix - len(head)
    return head + payload[:taken], taken


def make_consecutive(number: int, data: bytes) -> bytes:
    """Body of a consecutive frame."""
    return bytes((0x20 | number & 0x0F,)) + data


def make_flow(status: FlowStatus, block_size: int = 0, st_min: int = 0) -> bytes:
    """Body of a flow control frame."""
    return bytes((0x30 | status, block_size, st_min))


def padded(body: bytes, padding: int | None) -> bytes:
    """Fill up to 8 bytes where ``padding`` is set, and in any case to the next length that CAN FD has."""
    if len(body) <= 8:
        return body if padding is None else body.ljust(8, bytes((padding,)))
    target = next(length for length in LONG_LENGTHS if length >= len(body))
    return body.ljust(target, bytes((0xCC if padding is None else padding,)))
