"""31, routine control: start, stop, read the result."""

from __future__ import annotations

from enum import IntEnum, unique

from asleft.codec.answer import expect, word


@unique
class RoutineAction(IntEnum):
    """Second byte of the request."""

    START = 0x01
    STOP = 0x02
    RESULT = 0x03


def make_request(action: RoutineAction, identifier: int, option: bytes = b"") -> bytes:
    """``31 action xx xx option``."""
    return bytes((0x31, action)) + word(identifier, "routine identifier") + option


def read_answer(reply: bytes, action: RoutineAction, identifier: int) -> bytes:
    """What the routine reports, perhaps empty; its meaning is the maker's. Raises AnswerMalformed."""
    return expect(reply, bytes((0x71, action)) + word(identifier, "routine identifier"))
