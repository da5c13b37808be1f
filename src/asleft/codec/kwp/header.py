"""Frames on the K-line: header and checksum of ISO 14230-2 and of ISO 9141-2, and a splitter for the byte stream.

Use::

    make_frame(bytes.fromhex("81"), target=0x33, source=0xF1, functional=True)  # C1 33 F1 81 66
    splitter = KwpSplitter()
    for item in splitter.feed(data): ...   # KwpFrame or KwpBroken
    splitter.gap()                         # the line was quiet too long: what is left over is broken

Bits 7 and 6 of the format byte: 00 no address, 10 physical, 11 functional, 01 another header (ISO 9141-2); bits 5 to 0
are the length, 0 means that a length byte follows. Checksum: sum of all bytes, modulo 256.

Source: ISO 14230-2, 4; recalled. Checksums in the check values, section 3, were recomputed there.
"""

from __future__ import annotations

import msgspec

from asleft.codec.answer import byte
from asleft.model.errors import Code, InputError, LinkError

_KIND, _OTHER, _PHYSICAL, _FUNCTIONAL = 0xC0, 0x40, 0x80, 0xC0
_SHORT_MAX, _LONG_MAX = 63, 255
_OBD_REQUEST, _OBD_REPLY = b"\x68\x6a", b"\x48\x6b"


class KwpFrame(msgspec.Struct, frozen=True):
    """One whole frame; addresses are None in the form without address."""

    payload: bytes
    target: int | None = None
    source: int | None = None
    functional: bool = False


class KwpBroken(LinkError):  # noqa: N818 - says what happened
    """Bytes on the K-line that are no whole frame, or whose checksum is wrong."""

    def __init__(self, data: bytes, why: str) -> None:
        self.data = data
        super().__init__(Code.TRANSFER_BROKEN, f"{why}: {data[:32].hex(' ').upper()}")


def checksum(data: bytes) -> int:
    """Sum of all bytes, modulo 256."""
    return sum(data) & 0xFF


def make_frame(payload: bytes, target: int, source: int, *, functional: bool = False) -> bytes:
    """Frame with addresses; the length goes where it fits.

    Raises: InputError: no payload, more than 255 bytes, or an impossible address.
    """
    _check(payload)
    kind = _FUNCTIONAL if functional else _PHYSICAL
    addresses = bytes((byte(target, "address"), byte(source, "address")))
    if len(payload) <= _SHORT_MAX:
        return _closed(bytes((kind | len(payload),)) + addresses + payload)
    return _closed(bytes((kind,)) + addresses + bytes((len(payload),)) + payload)


def make_frame_without_address(payload: bytes) -> bytes:
    """Frame of the form without address. Raises InputError: no payload, or more than 255 bytes."""
    _check(payload)
    head = bytes((len(payload),)) if len(payload) <= _SHORT_MAX else bytes((0, len(payload)))
    return _closed(head + payload)


def make_obd_9141(payload: bytes, source: int = 0xF1) -> bytes:
    """OBD request with the three-byte header of ISO 9141-2: 68 6A source."""
    _check(payload)
    return _closed(_OBD_REQUEST + bytes((byte(source, "address"),)) + payload)


def read_obd_9141(data: bytes) -> tuple[int, bytes]:
    """Sender and payload of an OBD answer with the header of ISO 9141-2; the line's quiet marks its end.

    Raises: KwpBroken: another header, too short, or a wrong checksum.
    """
    if data[:2] != _OBD_REPLY or len(data) < 5:
        raise KwpBroken(data, "no answer in the form of ISO 9141-2")
    if checksum(data[:-1]) != data[-1]:
        raise KwpBroken(data, "wrong checksum")
    return data[2], data[3:-1]


def read_frame(data: bytes) -> KwpFrame:
    """Exactly one frame.

    Raises: KwpBroken: too short, too long, or a wrong checksum.
    """
    splitter = KwpSplitter()
    items = splitter.feed(data)
    rest = splitter.gap()
    if len(items) != 1 or rest is not None:
        raise KwpBroken(data, "not exactly one frame")
    if isinstance(items[0], KwpBroken):
        raise items[0]
    return items[0]


class KwpSplitter:
    """Takes the byte stream apart into frames. Pure: the caller says when the line has been quiet too long."""

    def __init__(self) -> None:
        self._buffer = bytearray()

    def feed(self, data: bytes) -> list[KwpFrame | KwpBroken]:
        """Take bytes; give the frames that became whole, or why they are broken."""
        self._buffer += data
        found: list[KwpFrame | KwpBroken] = []
        while (end := _end(self._buffer)) is not None and len(self._buffer) >= end:
            found.append(_open(bytes(self._buffer[:end])))
            del self._buffer[:end]
        return found

    def gap(self) -> KwpBroken | None:
        """The line was quiet for longer than a frame may pause: drop what is left over, and say so."""
        rest = bytes(self._buffer)
        self._buffer.clear()
        return KwpBroken(rest, "cut short") if rest else None


def _layout(buffer: bytes | bytearray) -> tuple[int, int] | None:
    """Header length and payload length, or None while the header is not whole."""
    addresses = 2 if buffer[0] & 0x80 else 0
    length = buffer[0] & 0x3F
    if length:
        return 1 + addresses, length
    if len(buffer) < 2 + addresses:
        return None
    return 2 + addresses, buffer[1 + addresses]


def _end(buffer: bytearray) -> int | None:
    """Length of the frame at the beginning, or None while that is not known. Another header says nothing: take all."""
    if not buffer:
        return None
    if buffer[0] & _KIND == _OTHER:
        return len(buffer)
    layout = _layout(buffer)
    return None if layout is None else sum(layout) + 1


def _open(data: bytes) -> KwpFrame | KwpBroken:
    if data[0] & _KIND == _OTHER:
        return KwpBroken(data, "another header than ISO 14230-2")
    layout = _layout(data)
    if checksum(data[:-1]) != data[-1]:
        return KwpBroken(data, "wrong checksum")
    if layout is None or layout[1] == 0:
        return KwpBroken(data, "no payload")
    payload = data[layout[0] : -1]
    if not data[0] & 0x80:
        return KwpFrame(payload)
    return KwpFrame(payload, data[1], data[2], data[0] & _KIND == _FUNCTIONAL)


def _check(payload: bytes) -> None:
    if not 1 <= len(payload) <= _LONG_MAX:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"{len(payload)} bytes in one frame of the K-line")


def _closed(body: bytes) -> bytes:
    return body + bytes((checksum(body),))
