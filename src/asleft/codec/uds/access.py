"""27, security access: ask for a seed, give a key. No keys are computed here or anywhere else in the project."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, expect_length
from asleft.model.errors import Code, InputError


def seed_request(level: int) -> bytes:
    """``27 xx`` with an odd level."""
    return bytes((0x27, _odd(level)))


def read_seed(reply: bytes, level: int) -> bytes:
    """The seed; all zero means that access is open already. Raises AnswerMalformed."""
    return expect(reply, bytes((0x67, level)), 1)


def is_open(seed: bytes) -> bool:
    """Whether the seed says that access is open already."""
    return not any(seed)


def key_request(level: int, key: bytes) -> bytes:
    """``27 xx+1 key`` for the odd ``level`` of the seed. Raises InputError: no key."""
    if not key:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, "no access key")
    return bytes((0x27, _odd(level) + 1)) + key


def read_accepted(reply: bytes, level: int) -> None:
    """``67 xx+1``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, bytes((0x67, level + 1))), 0)


def _odd(level: int) -> int:
    if byte(level, "access level") % 2 == 0 or level > 0x7E:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"access level {level:X}: odd, 01 to 7D")
    return level
