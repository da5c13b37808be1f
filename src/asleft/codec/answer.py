"""What every reader of answers shares: the error for an answer out of form, and small checks that raise it.

A reader of answers raises nothing but :class:`AnswerMalformed` on any bytes.
"""

from __future__ import annotations

from asleft.model.errors import Code, InputError, ModuleError


class AnswerMalformed(ModuleError):  # noqa: N818 - says what is wrong, like the code's name
    """An answer's bytes do not have the form that the standard gives them."""

    def __init__(self, reply: bytes, why: str) -> None:
        self.reply = reply
        shown = reply[:32].hex(" ").upper() + (" …" if len(reply) > 32 else "")
        super().__init__(Code.ANSWER_MALFORMED, f"{why}: {shown or 'no bytes'}")


def expect(reply: bytes, head: bytes, least: int = 0) -> bytes:
    """The bytes after ``head``, which the reply must begin with; at least ``least`` of them."""
    if reply[: len(head)] != head:
        raise AnswerMalformed(reply, f"should begin {head.hex(' ').upper()}")
    if len(reply) < len(head) + least:
        raise AnswerMalformed(reply, f"{least} bytes should follow {head.hex(' ').upper()}")
    return reply[len(head) :]


def expect_length(reply: bytes, rest: bytes, length: int) -> bytes:
    """``rest`` itself, when it has exactly ``length`` bytes."""
    if len(rest) != length:
        raise AnswerMalformed(reply, f"{length} bytes should follow, not {len(rest)}")
    return rest


def byte(value: int, what: str) -> int:
    """``value`` when it fits in one byte. Raises InputError (identifier-impossible)."""
    return _limited(value, 0xFF, what)


def word(value: int, what: str) -> bytes:
    """``value`` as two bytes, high byte first. Raises InputError (identifier-impossible)."""
    return _limited(value, 0xFFFF, what).to_bytes(2, "big")


def _limited(value: int, limit: int, what: str) -> int:
    if not 0 <= value <= limit:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"{what} {value:X}")
    return value
