"""An answer sorted into positive, negative and pending: the same for UDS, OBD and KWP2000.

Use::

    match read_reply(request, reply):
        case Positive(data): ...
        case Negative(code=code): refusal_of(code)
        case Pending(): ...  # wait on, to the longer time

Source: ISO 14229-1:2020, 8.4 (response behaviour); ISO 14230-3; recalled.
"""

from __future__ import annotations

import msgspec

from .answer import AnswerMalformed
from .refusal import Protocol, Refusal, refusal_of

_NEGATIVE = 0x7F
_PENDING = 0x78


class Positive(msgspec.Struct, frozen=True):
    """A positive answer; ``data`` is the whole of it, service byte included."""

    data: bytes


class Negative(msgspec.Struct, frozen=True):
    """A refusal: the service refused and the code."""

    service: int
    code: int
    protocol: Protocol = Protocol.UDS

    @property
    def refusal(self) -> Refusal:
        """In plain words."""
        return refusal_of(self.code, self.protocol)


class Pending(msgspec.Struct, frozen=True):
    """The module received the request and is working on it."""

    service: int


def read_reply(request: bytes, reply: bytes, protocol: Protocol = Protocol.UDS) -> Positive | Negative | Pending:
    """Sort the answer to ``request``.

    Raises:
        AnswerMalformed: empty, an answer to another service, or a refusal that has not three bytes.
    """
    service = request[0]
    if not reply:
        raise AnswerMalformed(reply, "the answer is empty")
    if reply[0] == _NEGATIVE:
        if len(reply) != 3:
            raise AnswerMalformed(reply, "a refusal has three bytes")
        if reply[1] != service:
            raise AnswerMalformed(reply, f"a refusal of another service than {service:02X}")
        return Pending(service) if reply[2] == _PENDING else Negative(service, reply[2], protocol)
    if reply[0] != (service + 0x40) & 0xFF:
        raise AnswerMalformed(reply, f"no answer to service {service:02X}")
    return Positive(reply)
