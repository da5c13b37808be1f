"""The workshop's mark as SVG text: the typesetter takes texts only, so a PNG goes inside an SVG. Pure."""

from __future__ import annotations

import base64
import struct
import zlib

from asleft.model.errors import Code, InputError

_PNG = b"\x89PNG\r\n\x1a\n"
_LARGEST = 2_000_000


def as_svg(mark: bytes) -> bytes:
    """SVG as it is, a PNG wrapped.

    Raises: InputError (mark-unreadable): neither, or more than 2 MB.
    Source: PNG signature and IHDR by ISO/IEC 15948:2004, 5.2 and 11.2.2 (recalled).
    """
    if len(mark) > _LARGEST:
        raise InputError(Code.MARK_UNREADABLE, f"{len(mark)} bytes; at most {_LARGEST}")
    if not mark.startswith(_PNG):
        return mark
    if not _whole(mark):
        raise InputError(Code.MARK_UNREADABLE, "the PNG file is cut off or damaged")
    width, height = struct.unpack(">II", mark[16:24])
    data = base64.b64encode(mark).decode()
    size = f'width="{width}" height="{height}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width} {height}">'
    return f'{head}<image {size} href="data:image/png;base64,{data}"/></svg>'.encode()


def _whole(png: bytes) -> bool:
    """Whether every chunk is there with its right check sum, from IHDR to IEND."""
    at, kinds = len(_PNG), list[bytes]()
    while at + 12 <= len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        body, check = png[at + 4 : at + 8 + length], png[at + 8 + length : at + 12 + length]
        if len(check) != 4 or zlib.crc32(body) != int.from_bytes(check, "big"):
            return False
        kinds.append(body[:4])
        at += 12 + length
    return kinds[:1] == [b"IHDR"] and b"IDAT" in kinds and kinds[-1] == b"IEND"
