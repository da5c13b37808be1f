"""DoIP messages to bytes and back, and a splitter for the TCP byte stream.

Use::

    encode(ActivationRequest(source=0x0E00))
    splitter = DoipSplitter()
    for item in splitter.feed(data): ...  # DoipMessage, UnknownPayload or, at most once and last, DoipBroken

Source: ISO 13400-2:2012, clause 7 (header: version, its inverse, payload type, length); recalled. Bytes: check values,
section 3.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from asleft.model.errors import Code, LinkError

from .messages import (
    ActivationAnswer,
    ActivationRequest,
    AliveAnswer,
    AliveRequest,
    Diagnostic,
    DiagnosticAck,
    DiagnosticNack,
    DoipMessage,
    EntityAnswer,
    EntityRequest,
    GenericNack,
    PayloadType,
    PowerAnswer,
    PowerRequest,
    VehicleAnnouncement,
    VehicleRequest,
)

VERSION_2012 = 0x02
_HEADER = 8


class DoipBroken(LinkError):  # noqa: N818 - says what happened
    """The byte stream cannot be followed any further; the connection must be closed."""

    def __init__(self, why: str) -> None:
        super().__init__(Code.TRANSFER_BROKEN, why)


class UnknownPayload(msgspec.Struct, frozen=True):
    """A payload type that we do not use, or a payload whose length does not fit its type."""

    kind: int
    data: bytes
    known: bool = False


DoipItem = DoipMessage | UnknownPayload


def encode(message: DoipMessage, version: int = VERSION_2012) -> bytes:
    """Header and payload of one message."""
    kind, payload = _payload(message)
    return bytes((version, version ^ 0xFF)) + kind.to_bytes(2, "big") + len(payload).to_bytes(4, "big") + payload


def decode(data: bytes) -> DoipItem:
    """Exactly one message (a datagram).

    Raises: DoipBroken: the header is wrong, or the length does not fit.
    """
    kind, length = _header(data)
    if len(data) != _HEADER + length:
        raise DoipBroken(f"{length} bytes announced, {len(data) - _HEADER} came")
    return _read(kind, data[_HEADER:])


class DoipSplitter:
    """Takes a TCP byte stream apart into messages.

    Args:
        longest: longest payload accepted, bytes; a longer one breaks the stream.
    """

    def __init__(self, longest: int = 1 << 20) -> None:
        self._longest = longest
        self._buffer = bytearray()
        self._broken = False

    @property
    def broken(self) -> bool:
        """Nothing more can be taken from this stream."""
        return self._broken

    def feed(self, data: bytes) -> list[DoipItem | DoipBroken]:
        """Take bytes; give the messages that became whole. After ``DoipBroken`` nothing comes any more."""
        if self._broken:
            return []
        self._buffer += data
        found: list[DoipItem | DoipBroken] = []
        try:
            while (item := self._next()) is not None:
                found.append(item)
        except DoipBroken as error:
            self._broken = True
            self._buffer.clear()
            found.append(error)
        return found

    def _next(self) -> DoipItem | None:
        if len(self._buffer) < _HEADER:
            return None
        kind, length = _header(bytes(self._buffer[:_HEADER]))
        if length > self._longest:
            raise DoipBroken(f"{length} bytes announced, {self._longest} accepted")
        if len(self._buffer) < _HEADER + length:
            return None
        payload = bytes(self._buffer[_HEADER : _HEADER + length])
        del self._buffer[: _HEADER + length]
        return _read(kind, payload)


def _header(data: bytes) -> tuple[int, int]:
    if len(data) < _HEADER:
        raise DoipBroken("the header is cut short")
    if data[0] ^ 0xFF != data[1]:
        raise DoipBroken(f"version {data[0]:02X} and its inverse {data[1]:02X} do not agree")
    return int.from_bytes(data[2:4], "big"), int.from_bytes(data[4:8], "big")


def _pair(a: int, b: int) -> bytes:
    return a.to_bytes(2, "big") + b.to_bytes(2, "big")


def _payload(message: DoipMessage) -> tuple[int, bytes]:
    kind = PayloadType
    match message:
        case GenericNack(code):
            return kind.GENERIC_NACK, bytes((code,))
        case VehicleRequest():
            return _vehicle_request(message)
        case VehicleAnnouncement():
            return kind.VEHICLE_ANNOUNCEMENT, _announcement(message)
        case ActivationRequest(source, form, reserved, maker):
            return kind.ACTIVATION_REQUEST, source.to_bytes(2, "big") + bytes((form,)) + reserved + maker
        case ActivationAnswer(tester, entity, code, reserved, maker):
            return kind.ACTIVATION_ANSWER, _pair(tester, entity) + bytes((code,)) + reserved + maker
        case AliveRequest():
            return kind.ALIVE_REQUEST, b""
        case AliveAnswer(source):
            return kind.ALIVE_ANSWER, source.to_bytes(2, "big")
        case EntityRequest():
            return kind.ENTITY_REQUEST, b""
        case EntityAnswer(form, sockets, used, longest):
            tail = b"" if longest is None else longest.to_bytes(4, "big")
            return kind.ENTITY_ANSWER, bytes((form, sockets, used)) + tail
        case PowerRequest():
            return kind.POWER_REQUEST, b""
        case PowerAnswer(mode):
            return kind.POWER_ANSWER, bytes((mode,))
        case Diagnostic(source, target, payload):
            return kind.DIAGNOSTIC, _pair(source, target) + payload
        case DiagnosticAck(source, target, code, echo):
            return kind.DIAGNOSTIC_ACK, _pair(source, target) + bytes((code,)) + echo
        case DiagnosticNack(source, target, code, echo):
            return kind.DIAGNOSTIC_NACK, _pair(source, target) + bytes((code,)) + echo


def _vehicle_request(message: VehicleRequest) -> tuple[int, bytes]:
    if message.eid:
        return PayloadType.VEHICLE_REQUEST_EID, message.eid
    if message.vin:
        return PayloadType.VEHICLE_REQUEST_VIN, message.vin.encode("ascii")
    return PayloadType.VEHICLE_REQUEST, b""


def _announcement(message: VehicleAnnouncement) -> bytes:
    tail = b"" if message.synchronised is None else bytes((message.synchronised,))
    address = message.address.to_bytes(2, "big")
    return message.vin.encode("ascii") + address + message.eid + message.gid + bytes((message.further_action,)) + tail


def _read(kind: int, data: bytes) -> DoipItem:
    entry = _READERS.get(kind)
    if entry is None:
        return UnknownPayload(kind, data)
    lengths, reader = entry
    if len(data) not in lengths:
        return UnknownPayload(kind, data, known=True)
    return reader(data)


def _number(data: bytes, start: int = 0) -> int:
    return int.from_bytes(data[start : start + 2], "big")


def _text(data: bytes) -> str:
    return "".join(chr(c) if 0x20 < c < 0x7F else "." for c in data)


def _read_announcement(data: bytes) -> DoipItem:
    synchronised = data[32] if len(data) > 32 else None
    return VehicleAnnouncement(_text(data[:17]), _number(data, 17), data[19:25], data[25:31], data[31], synchronised)


def _read_entity(data: bytes) -> DoipItem:
    longest = int.from_bytes(data[3:7], "big") if len(data) == 7 else None
    return EntityAnswer(data[0], data[1], data[2], longest)


_ANY_FROM_FIVE = range(5, 1 << 32)

#: Payload type to the lengths it may have, and its reader.
_READERS: dict[int, tuple[range | tuple[int, ...], Callable[[bytes], DoipItem]]] = {
    PayloadType.GENERIC_NACK: ((1,), lambda d: GenericNack(d[0])),
    PayloadType.VEHICLE_REQUEST: ((0,), lambda _: VehicleRequest()),
    PayloadType.VEHICLE_REQUEST_EID: ((6,), lambda d: VehicleRequest(eid=d)),
    PayloadType.VEHICLE_REQUEST_VIN: ((17,), lambda d: VehicleRequest(vin=_text(d))),
    PayloadType.VEHICLE_ANNOUNCEMENT: ((32, 33), _read_announcement),
    PayloadType.ACTIVATION_REQUEST: ((7, 11), lambda d: ActivationRequest(_number(d), d[2], d[3:7], d[7:])),
    PayloadType.ACTIVATION_ANSWER: (
        (9, 13),
        lambda d: ActivationAnswer(_number(d), _number(d, 2), d[4], d[5:9], d[9:]),
    ),
    PayloadType.ALIVE_REQUEST: ((0,), lambda _: AliveRequest()),
    PayloadType.ALIVE_ANSWER: ((2,), lambda d: AliveAnswer(_number(d))),
    PayloadType.ENTITY_REQUEST: ((0,), lambda _: EntityRequest()),
    PayloadType.ENTITY_ANSWER: ((3, 7), _read_entity),
    PayloadType.POWER_REQUEST: ((0,), lambda _: PowerRequest()),
    PayloadType.POWER_ANSWER: ((1,), lambda d: PowerAnswer(d[0])),
    PayloadType.DIAGNOSTIC: (_ANY_FROM_FIVE, lambda d: Diagnostic(_number(d), _number(d, 2), d[4:])),
    PayloadType.DIAGNOSTIC_ACK: (_ANY_FROM_FIVE, lambda d: DiagnosticAck(_number(d), _number(d, 2), d[4], d[5:])),
    PayloadType.DIAGNOSTIC_NACK: (_ANY_FROM_FIVE, lambda d: DiagnosticNack(_number(d), _number(d, 2), d[4], d[5:])),
}
