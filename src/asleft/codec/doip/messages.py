"""DoIP messages as values, one class per payload type.

Source: ISO 13400-2:2012, clauses 7 and 9; recalled, bytes from the check values, section 3.
"""

from __future__ import annotations

from enum import IntEnum, unique

import msgspec


@unique
class PayloadType(IntEnum):
    """Payload types that the project uses."""

    GENERIC_NACK = 0x0000
    VEHICLE_REQUEST = 0x0001
    VEHICLE_REQUEST_EID = 0x0002
    VEHICLE_REQUEST_VIN = 0x0003
    VEHICLE_ANNOUNCEMENT = 0x0004
    ACTIVATION_REQUEST = 0x0005
    ACTIVATION_ANSWER = 0x0006
    ALIVE_REQUEST = 0x0007
    ALIVE_ANSWER = 0x0008
    ENTITY_REQUEST = 0x4001
    ENTITY_ANSWER = 0x4002
    POWER_REQUEST = 0x4003
    POWER_ANSWER = 0x4004
    DIAGNOSTIC = 0x8001
    DIAGNOSTIC_ACK = 0x8002
    DIAGNOSTIC_NACK = 0x8003


class GenericNack(msgspec.Struct, frozen=True):
    """The header was not accepted."""

    code: int


class VehicleRequest(msgspec.Struct, frozen=True):
    """Who is there? To all, or to one entity (6 bytes) or VIN."""

    eid: bytes = b""
    vin: str = ""


class VehicleAnnouncement(msgspec.Struct, frozen=True):
    """An entity says who it is.

    Attributes:
        vin: 17 characters; bytes that are no printable text appear as ``.``.
        address: logical address.
        eid, gid: identification of entity and group, 6 bytes each.
        further_action: 00 none, 10 routing activation needed for more.
        synchronised: VIN and group are synchronised; None where it does not say.
    """

    vin: str
    address: int
    eid: bytes
    gid: bytes
    further_action: int = 0
    synchronised: int | None = None


class ActivationRequest(msgspec.Struct, frozen=True):
    """A tester asks for its messages to be routed."""

    source: int
    kind: int = 0
    reserved: bytes = b"\x00\x00\x00\x00"
    maker: bytes = b""


class ActivationAnswer(msgspec.Struct, frozen=True):
    """Whether routing is active: code 10 is yes, 11 yes after a confirmation at the car."""

    tester: int
    entity: int
    code: int
    reserved: bytes = b"\x00\x00\x00\x00"
    maker: bytes = b""

    @property
    def active(self) -> bool:
        """Routing is active."""
        return self.code == 0x10


class AliveRequest(msgspec.Struct, frozen=True):
    """Is the tester still there?"""


class AliveAnswer(msgspec.Struct, frozen=True):
    """It is."""

    source: int


class EntityRequest(msgspec.Struct, frozen=True):
    """How is the entity?"""


class EntityAnswer(msgspec.Struct, frozen=True):
    """Kind of entity (0 gateway, 1 node), sockets possible and open, longest message where it says so."""

    kind: int
    sockets: int
    open_sockets: int
    longest: int | None = None


class PowerRequest(msgspec.Struct, frozen=True):
    """Is the car ready for diagnostics?"""


class PowerAnswer(msgspec.Struct, frozen=True):
    """0 not ready, 1 ready, 2 not supported."""

    mode: int


class Diagnostic(msgspec.Struct, frozen=True):
    """A request or an answer on its way between two logical addresses."""

    source: int
    target: int
    payload: bytes


class DiagnosticAck(msgspec.Struct, frozen=True):
    """The entity took a diagnostic message; ``echo`` is the beginning of it, where given."""

    source: int
    target: int
    code: int = 0
    echo: bytes = b""


class DiagnosticNack(msgspec.Struct, frozen=True):
    """The entity did not take a diagnostic message."""

    source: int
    target: int
    code: int
    echo: bytes = b""


DoipMessage = (
    GenericNack
    | VehicleRequest
    | VehicleAnnouncement
    | ActivationRequest
    | ActivationAnswer
    | AliveRequest
    | AliveAnswer
    | EntityRequest
    | EntityAnswer
    | PowerRequest
    | PowerAnswer
    | Diagnostic
    | DiagnosticAck
    | DiagnosticNack
)
