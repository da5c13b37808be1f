"""Services 03, 07, 0A (trouble codes: stored, pending, permanent) and 04 (clear).

On CAN a count byte stands before the codes; on older serial buses there is none and three codes fill each answer.

Source: ISO 15031-5 / SAE J1979; check values, section 2.
"""

from __future__ import annotations

from asleft.codec.answer import AnswerMalformed, expect, expect_length
from asleft.codec.trouble_code import text_of
from asleft.model.trouble import CodeKind

_SERVICES: dict[CodeKind, int] = {CodeKind.STORED: 0x03, CodeKind.PENDING: 0x07, CodeKind.PERMANENT: 0x0A}

#: Service 04: clear trouble codes, freeze frames and readiness. An effect.
CLEAR_REQUEST = b"\x04"


def codes_request(kind: CodeKind) -> bytes:
    """Service 03, 07 or 0A."""
    return bytes((_SERVICES[kind],))


def read_codes(reply: bytes, kind: CodeKind, *, counted: bool = True) -> tuple[str, ...]:
    """The codes as text, in the module's order; the empty code 0000 is left out.

    Args:
        reply: positive answer.
        kind: which were asked.
        counted: a count byte follows the service (CAN).
    Raises: AnswerMalformed: another service; count and length do not agree.
    """
    rest = expect(reply, bytes((_SERVICES[kind] + 0x40,)), 1 if counted else 0)
    if counted:
        rest = expect_length(reply, rest[1:], 2 * rest[0])
    if len(rest) % 2:
        raise AnswerMalformed(reply, "a trouble code has two bytes")
    pairs = [rest[i : i + 2] for i in range(0, len(rest), 2)]
    return tuple(text_of(pair) for pair in pairs if pair != b"\x00\x00")


def read_cleared(reply: bytes) -> None:
    """Check the positive answer to service 04. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x44"), 0)


def freeze_code(data: bytes) -> str | None:
    """The code that a freeze frame belongs to (service 02, parameter 02); None: no frame stored."""
    if len(data) != 2:
        raise AnswerMalformed(data, "a trouble code has two bytes")
    return None if data == b"\x00\x00" else text_of(data)
