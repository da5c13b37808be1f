"""CAN data frames as values.

Source: ISO 11898-1 (identifier widths, data lengths); recalled, not checked against the text.
"""

from __future__ import annotations

import msgspec

from .errors import Code, LinkError

_FD_LENGTHS = frozenset((*range(9), 12, 16, 20, 24, 32, 48, 64))


class CanFrame(msgspec.Struct, frozen=True, gc=False):
    """One CAN data frame.

    Attributes:
        id: 11-bit (``extended`` false) or 29-bit identifier.
        data: 0 to 8 bytes, or one of the CAN FD lengths up to 64.
        extended: 29-bit identifier.
        fd: CAN FD format.
        time_s: when it was seen on the link's clock, s; None before it was sent.

    Raises:
        LinkError: identifier or length impossible.
    """

    id: int
    data: bytes
    extended: bool = False
    fd: bool = False
    time_s: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.id < (1 << (29 if self.extended else 11)):
            raise LinkError(Code.FRAME_INVALID, f"identifier {self.id:X}")
        if len(self.data) > 8 and not (self.fd and len(self.data) in _FD_LENGTHS):
            raise LinkError(Code.FRAME_INVALID, f"{len(self.data)} data bytes")

    def text(self) -> str:
        """Identifier and data in hexadecimal, as ``7E0 02 3E 00``."""
        return f"{self.id:0{8 if self.extended else 3}X} {self.data.hex(' ').upper()}"
