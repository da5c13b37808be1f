"""14, clear diagnostic information."""

from __future__ import annotations

from asleft.codec.answer import expect, expect_length
from asleft.model.errors import Code, InputError

ALL_GROUPS = 0xFFFFFF


def make_request(group: int = ALL_GROUPS) -> bytes:
    """``14 xx xx xx``: a group of codes, or all."""
    if not 0 <= group <= 0xFFFFFF:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"group {group:X}")
    return b"\x14" + group.to_bytes(3, "big")


def read_answer(reply: bytes) -> None:
    """``54``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x54"), 0)
