"""How a module is addressed on CAN, which addresses belong to standard OBD, and who answers to everybody.

Normal addressing needs no help: both identifiers say everything. The other modes of ISO 15765-2::

    fixed("gearbox", 0x18)                                # 18DA18F1 and 18DAF118
    extended("body", 0x6F1, 0x640, target=0x40)           # the address byte 40 in front of the data, F1 in answers
    mixed("trailer", 0x18, extension=0x21)                # 18CE18F1 and 18CEF118, address byte 21 in both directions

Source: ISO 15765-2 (addressing); ISO 15765-4 (11 bit: 7DF, answers 7E8 to 7EF, physical requests 8 below; 29 bit:
18DB33F1, answers 18DAF1xx); recalled, agrees with the check values.
"""

from __future__ import annotations

import msgspec

from asleft.codec.isotp import IsoTpAddress
from asleft.codec.isotp import mixed_wide as _mixed_wide
from asleft.codec.isotp import normal_fixed as _normal_fixed
from asleft.codec.isotp.addressing import Lane as End
from asleft.model.module import ModuleAddress

#: Address of a tester outside the car. Source: ISO 15765-4 (recalled).
TESTER = 0xF1
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


def fixed(name: str, target: int, tester: int = TESTER) -> ModuleAddress:
    """Normal fixed addressing, 29 bit. Raises LinkError (frame-invalid): an address above FF."""
    pair = _normal_fixed(tester, target)
    return ModuleAddress(name, pair.tx.id, pair.rx.id, extended=True)


def extended(
    name: str, request_id: int, response_id: int, target: int, tester: int = TESTER, *, wide: bool = False
) -> ModuleAddress:
    """Extended addressing: the address of whom it is for stands in front of the data."""
    return ModuleAddress(name, request_id, response_id, wide, target, tester)


def mixed(name: str, target: int, extension: int, tester: int = TESTER) -> ModuleAddress:
    """Mixed addressing, 29 bit: one address extension in front of the data in both directions."""
    pair = _mixed_wide(tester, target, extension)
    return ModuleAddress(name, pair.tx.id, pair.rx.id, True, extension, extension)


def transport(address: ModuleAddress) -> IsoTpAddress:
    """The pair as transfers need it. Raises LinkError (frame-invalid): an impossible identifier or address byte."""
    request, response = (
        None if isinstance(prefix, msgspec.UnsetType) else prefix
        for prefix in (address.request_prefix, address.response_prefix)
    )
    return IsoTpAddress(End(address.request_id, request), End(address.response_id, response), address.extended)
