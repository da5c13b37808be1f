"""OBD answers on a K-line, where one answer comes in messages of seven bytes: put together in the form it has on CAN.

Codes come three a message, filled with zeros and without a count; vehicle information is numbered, four bytes a
message, filled in front with zeros. Pure.

Source: SAE J1979 / ISO 15031-5, services 03, 07, 0A and 09 on ISO 14230-4 and ISO 9141-2 (recalled).
"""

from __future__ import annotations

_CODES = frozenset({0x43, 0x47, 0x4A})
_INFORMATION = 0x49
#: Bytes of one item of each information type.
_SIZES = {0x02: 17, 0x04: 16, 0x06: 4, 0x0A: 20}


def comes_in_pieces(request: bytes, payload: bytes) -> bool:
    """Whether ``payload`` may be a part of a longer answer to ``request``."""
    if payload[0] != request[0] + 0x40:
        return False
    return payload[0] in _CODES or (payload[0] == _INFORMATION and payload[1:2] == request[1:2])


def joined(payloads: list[bytes]) -> bytes:
    """The answer in the form that it has on CAN; what does not fit together comes out as it is, to be refused later."""
    head = payloads[0]
    if head[0] in _CODES:
        body = b"".join(payload[1:] for payload in payloads)
        pairs = [body[i : i + 2] for i in range(0, len(body) - 1, 2)]
        codes = [pair for pair in pairs if pair != b"\x00\x00"]
        return head[:1] + bytes((len(codes) & 0xFF,)) + b"".join(codes)
    return _information(payloads)


def _information(payloads: list[bytes]) -> bytes:
    head = payloads[0][:2]
    if head[1] % 0x20 == 0:
        return head + payloads[0][3:7]
    numbered = sorted(payloads, key=lambda payload: payload[2:3])
    if [payload[2:3] for payload in numbered] != [bytes((n,)) for n in range(1, len(numbered) + 1)]:
        return payloads[0]
    body = b"".join(payload[3:] for payload in numbered)
    size = _SIZES.get(head[1])
    if size is None:
        return head + b"\x01" + body
    count = len(body) // size
    return head + bytes((count,)) + body[len(body) - count * size :]
