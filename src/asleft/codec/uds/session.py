"""10, diagnostic session control."""

from __future__ import annotations

import msgspec

from asleft.codec.answer import byte, expect, expect_length

DEFAULT, PROGRAMMING, EXTENDED = 0x01, 0x02, 0x03


class SessionAnswer(msgspec.Struct, frozen=True):
    """What the module granted: session, and how long it may take to answer, s (plain, and after *pending*)."""

    session: int
    p2_s: float
    p2_star_s: float


def make_request(session: int) -> bytes:
    """``10 xx``."""
    return bytes((0x10, byte(session, "session")))


def read_answer(reply: bytes, session: int) -> SessionAnswer:
    """``50 xx`` with P2 in ms and P2* in 10 ms. Raises AnswerMalformed."""
    rest = expect_length(reply, expect(reply, bytes((0x50, session))), 4)
    return SessionAnswer(session, int.from_bytes(rest[:2], "big") / 1000, int.from_bytes(rest[2:], "big") / 100)
