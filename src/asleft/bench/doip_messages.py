"""Messages of DoIP (ISO 13400-2:2012): header, vehicle identification, routing activation, diagnostic messages.

Built and read apart from the tool's own. Source: recalled, and checked against the bytes in checks section 3.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum, unique

VERSION = 0x02
#: Version a vehicle identification request may carry instead, when the tester does not know it yet.
DEFAULT_VERSION = 0xFF
HEADER = struct.Struct(">BBHI")


@unique
class Kind(IntEnum):
    """Payload types."""

    NACK = 0x0000
    IDENTIFY = 0x0001
    IDENTIFY_EID = 0x0002
    IDENTIFY_VIN = 0x0003
    ANNOUNCEMENT = 0x0004
    ACTIVATE = 0x0005
    ACTIVATED = 0x0006
    ALIVE = 0x0007
    ALIVE_ANSWER = 0x0008
    STATUS = 0x4001
    STATUS_ANSWER = 0x4002
    POWER = 0x4003
    POWER_ANSWER = 0x4004
    DIAGNOSTIC = 0x8001
    DIAGNOSTIC_ACK = 0x8002
    DIAGNOSTIC_NACK = 0x8003


#: Payload type -> lengths allowed in requests to an entity.
REQUEST_LENGTHS: dict[int, range] = {
    Kind.IDENTIFY: range(1),
    Kind.IDENTIFY_EID: range(6, 7),
    Kind.IDENTIFY_VIN: range(17, 18),
    Kind.ACTIVATE: range(7, 12),
    Kind.ALIVE_ANSWER: range(2, 3),
    Kind.STATUS: range(1),
    Kind.POWER: range(1),
    Kind.DIAGNOSTIC: range(5, 1 << 31),
}

NACK_PATTERN, NACK_UNKNOWN, NACK_TOO_LARGE, NACK_LENGTH = 0x00, 0x01, 0x02, 0x04


@dataclass(frozen=True)
class Entity:
    """Who a DoIP entity is.

    Attributes:
        vin: 17 characters.
        address: its logical address.
        eid, gid: 6 bytes each (a hardware address in real cars).
    """

    vin: str
    address: int = 0x0E80
    eid: bytes = bytes.fromhex("02000000E001")
    gid: bytes = bytes.fromhex("02000000E001")

    def announcement(self) -> bytes:
        """Payload of 0004: VIN, address, identifiers, no further action needed."""
        return self.vin.encode("ascii") + self.address.to_bytes(2, "big") + self.eid + self.gid + b"\x00"


def encode(kind: int, payload: bytes = b"", version: int = VERSION) -> bytes:
    """Header and payload."""
    return HEADER.pack(version, version ^ 0xFF, kind, len(payload)) + payload


def flaw(version: int, inverse: int, kind: int, length: int, limit: int) -> int | None:
    """Code of the generic negative answer for a header, None when it is good."""
    if version ^ 0xFF != inverse or version not in {0x01, VERSION, 0x03, DEFAULT_VERSION}:
        return NACK_PATTERN
    if kind not in REQUEST_LENGTHS:
        return NACK_UNKNOWN
    if length > limit:
        return NACK_TOO_LARGE
    if length not in REQUEST_LENGTHS[kind]:
        return NACK_LENGTH
    return None


def addresses(first: int, second: int) -> bytes:
    """Two logical addresses."""
    return first.to_bytes(2, "big") + second.to_bytes(2, "big")
