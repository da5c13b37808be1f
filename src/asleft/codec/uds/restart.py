"""11, ECU reset: the module restarts."""

from __future__ import annotations

from asleft.codec.answer import AnswerMalformed, byte, expect

HARD, KEY_OFF_ON, SOFT = 0x01, 0x02, 0x03
_POWER_DOWN = 0x04


def make_request(kind: int) -> bytes:
    """``11 xx``."""
    return bytes((0x11, byte(kind, "restart")))


def read_answer(reply: bytes, kind: int) -> int | None:
    """Seconds until power-down where the form (04) gives them; 255: not available. Raises AnswerMalformed."""
    rest = expect(reply, bytes((0x51, kind)))
    if len(rest) != (1 if kind == _POWER_DOWN else 0):
        raise AnswerMalformed(reply, "wrong length")
    return rest[0] if rest else None
