"""2E, write data by identifier."""

from __future__ import annotations

from asleft.codec.answer import expect, expect_length, word
from asleft.model.errors import Code, InputError


def make_request(identifier: int, data: bytes) -> bytes:
    """``2E xx xx data``. Raises InputError: no data, or an identifier that cannot exist."""
    if not data:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"no data to write to {identifier:04X}")
    return b"\x2e" + word(identifier, "data identifier") + data


def read_answer(reply: bytes, identifier: int) -> None:
    """``6E xx xx``: the module took it; only reading back proves what it holds. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x6e" + word(identifier, "data identifier")), 0)
