"""Whether some bytes answer a request: service, and the echo that the standard asks for. Pure.

A late answer to an earlier request, an answer to another service and one about another identifier are not taken.

Source: ISO 14229-1 (positive response: service + 40, echo of sub-function or identifier; negative: 7F, service, code),
ISO 15031-5 (service + 40, echo of the parameter). Recalled, agrees with the check values, section 3.
"""

from __future__ import annotations

from enum import Enum, auto, unique

from asleft.codec.answer import AnswerMalformed
from asleft.codec.refusal import Protocol

NEGATIVE = 0x7F
BUSY = 0x21
PENDING = 0x78
_SUPPRESS = 0x80

#: UDS services whose first byte is a sub-function, its top bit "do not answer when positive".
_WITH_SUB_FUNCTION = frozenset({0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87})
#: Bytes after the service that the positive answer repeats in place.
_ECHO: dict[int, int] = {
    0x05: 1,
    0x08: 1,
    0x10: 1,
    0x11: 1,
    0x19: 1,
    0x24: 2,
    0x27: 1,
    0x28: 1,
    0x29: 1,
    0x2C: 1,
    0x2E: 2,
    0x2F: 2,
    0x31: 3,
    0x3E: 1,
    0x83: 1,
    0x85: 1,
    0x86: 1,
    0x87: 1,
}
#: KWP2000 (ISO 14230-3, recalled): identifiers are one byte, most services repeat it, some repeat nothing.
_ECHO_KWP: dict[int, int] = {
    0x05: 1,
    0x08: 1,
    0x10: 1,
    0x1A: 1,
    0x21: 1,
    0x27: 1,
    0x30: 1,
    0x31: 1,
    0x32: 1,
    0x33: 1,
    0x3B: 1,
}
_KWP_QUIET = b"\x3e\x02"
#: OBD services are the same on every link.
_OBD = frozenset({0x01, 0x02, 0x06, 0x09})
#: Services that may ask for several things at once; the answer begins with one of them. Value: bytes of an identifier,
#: bytes from one identifier to the next.
_SEVERAL: dict[int, tuple[int, int]] = {0x01: (1, 1), 0x02: (1, 2), 0x06: (1, 1), 0x09: (1, 1), 0x22: (2, 2)}


@unique
class Match(Enum):
    """What some bytes are to a request."""

    NOT_OURS = auto()
    POSITIVE = auto()
    NEGATIVE = auto()
    PENDING = auto()


def match(request: bytes, answer: bytes, protocol: Protocol = Protocol.UDS) -> Match:
    """What ``answer`` is to ``request`` in the language of the conversation.

    Raises: AnswerMalformed: it is the answer by its service, but too short to be one.
    """
    if answer[0] == NEGATIVE:
        return _negative(request, answer)
    if answer[0] != request[0] + 0x40:
        return Match.NOT_OURS
    wanted = _echoes(request, protocol)
    if not wanted:
        return Match.POSITIVE
    length = len(wanted[0])
    if len(answer) < 1 + length:
        raise AnswerMalformed(answer, f"shorter than the answer to {request[:1].hex().upper()} can be")
    return Match.POSITIVE if answer[1 : 1 + length] in wanted else Match.NOT_OURS


def _negative(request: bytes, answer: bytes) -> Match:
    if answer[1:2] != request[:1]:
        return Match.NOT_OURS
    if len(answer) < 3:
        raise AnswerMalformed(answer, "a negative answer has three bytes")
    return Match.PENDING if answer[2] == PENDING else Match.NEGATIVE


def may_confuse(earlier: bytes, request: bytes, protocol: Protocol = Protocol.UDS) -> bool:
    """Whether a late answer to ``earlier`` could be taken for the answer to ``request``."""
    if earlier[0] != request[0]:
        return False
    a, b = _echoes(earlier, protocol), _echoes(request, protocol)
    return not a or not b or bool(set(a) & set(b))


def expects_answer(request: bytes, protocol: Protocol = Protocol.UDS) -> bool:
    """Whether a positive answer comes: not where the request suppresses it."""
    if protocol is Protocol.KWP2000:
        return request[:2] != _KWP_QUIET
    return not (request[0] in _WITH_SUB_FUNCTION and len(request) > 1 and request[1] & _SUPPRESS)


def _echoes(request: bytes, protocol: Protocol) -> tuple[bytes, ...]:
    """What a positive answer may begin with after its service; empty where nothing is repeated."""
    service = request[0]
    if protocol is Protocol.KWP2000 and service not in _OBD:
        length = _ECHO_KWP.get(service, 0)
        return (request[1 : 1 + length],) if request[1 : 1 + length] else ()
    if service in _SEVERAL:
        size, step = _SEVERAL[service]
        return tuple(request[i : i + size] for i in range(1, len(request) - size + 1, step))
    length = _ECHO.get(service, 0)
    echo = request[1 : 1 + length]
    if echo and service in _WITH_SUB_FUNCTION:
        echo = bytes((echo[0] & ~_SUPPRESS,)) + echo[1:]
    return (echo,) if echo else ()
