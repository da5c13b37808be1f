"""Which addresses belong to standard OBD on CAN, and who is behind an answer to everybody.

Source: ISO 15765-4 (11 bit: 7DF, answers 7E8 to 7EF, physical requests 8 below; 29 bit: 18DB33F1, answers 18DAF1xx);
recalled, agrees with the check values.
"""

from __future__ import annotations

from asleft.model.module import ModuleAddress

NARROW_REQUEST = 0x7DF
WIDE_REQUEST = 0x18DB33F1
_NARROW_ANSWERS = range(0x7E8, 0x7F0)
_WIDE_ANSWERS = 0x18DAF100


def responder(frame_id: int, *, wide: bool) -> ModuleAddress | None:
    """The OBD module that answers on this identifier, or None when no OBD module does."""
    if wide and frame_id & ~0xFF == _WIDE_ANSWERS:
        number = frame_id & 0xFF
        return ModuleAddress(f"module {number:02X}", 0x18DA00F1 | number << 8, frame_id, extended=True)
    if not wide and frame_id in _NARROW_ANSWERS:
        return ModuleAddress(f"module {frame_id:03X}", frame_id - 8, frame_id)
    return None
