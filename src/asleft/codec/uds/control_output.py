"""2F, input output control by identifier."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, word

RETURN_CONTROL, TO_DEFAULT, FREEZE, ADJUST = 0x00, 0x01, 0x02, 0x03


def make_request(identifier: int, control: int, state: bytes = b"", mask: bytes = b"") -> bytes:
    """``2F xx xx control state mask``."""
    return b"\x2f" + word(identifier, "data identifier") + bytes((byte(control, "control"),)) + state + mask


def read_answer(reply: bytes, identifier: int, control: int) -> bytes:
    """State as the module reports it, perhaps empty. Raises AnswerMalformed."""
    return expect(reply, b"\x6f" + word(identifier, "data identifier") + bytes((control,)))
