"""3E, tester present: keeps a session open."""

from __future__ import annotations

from asleft.codec.answer import expect, expect_length


def make_request(*, quiet: bool = False) -> bytes:
    """``3E 00``, or ``3E 80`` that asks for no answer."""
    return b"\x3e\x80" if quiet else b"\x3e\x00"


def read_answer(reply: bytes) -> None:
    """``7E 00``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x7e\x00"), 0)
