"""22, read data by identifier."""

from __future__ import annotations

from collections.abc import Sequence

from asleft.codec.answer import AnswerMalformed, expect, word
from asleft.model.errors import Code, InputError


def make_request(*identifiers: int) -> bytes:
    """``22`` and one or more two-byte identifiers. Raises InputError: none, or one that cannot exist."""
    if not identifiers:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, "no data identifier")
    return b"\x22" + b"".join(word(did, "data identifier") for did in identifiers)


def read_answer(reply: bytes, identifier: int) -> bytes:
    """Data of the one identifier asked for, at least one byte. Raises AnswerMalformed."""
    return expect(reply, b"\x62" + word(identifier, "data identifier"), 1)


def split_answer(reply: bytes, lengths: Sequence[tuple[int, int]]) -> dict[int, bytes]:
    """Data of several identifiers.

    Args:
        reply: positive answer.
        lengths: identifier and number of data bytes, in the order asked; the module may leave some out.
    Raises: AnswerMalformed: an identifier not asked, out of order, or cut short.
    """
    rest = expect(reply, b"\x62", 3)
    parts: dict[int, bytes] = {}
    waiting = list(lengths)
    while rest:
        found = int.from_bytes(rest[:2], "big")
        while waiting and waiting[0][0] != found:
            waiting.pop(0)
        if not waiting:
            raise AnswerMalformed(reply, f"data identifier {found:04X} was not asked, or not in this order")
        length = waiting.pop(0)[1]
        if len(rest) < 2 + length:
            raise AnswerMalformed(reply, f"data identifier {found:04X} needs {length} bytes")
        parts[found], rest = rest[2 : 2 + length], rest[2 + length :]
    return parts
