"""1A (identification), 21 and 3B (values by local identifier, one byte)."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, expect_length
from asleft.model.errors import Code, InputError


def identification_request(option: int) -> bytes:
    """``1A xx``."""
    return bytes((0x1A, byte(option, "identification")))


def read_identification(reply: bytes, option: int) -> bytes:
    """Data after ``5A xx``, at least one byte. Raises AnswerMalformed."""
    return expect(reply, bytes((0x5A, option)), 1)


def read_request(local: int) -> bytes:
    """``21 xx``."""
    return bytes((0x21, byte(local, "local identifier")))


def read_value(reply: bytes, local: int) -> bytes:
    """Data after ``61 xx``, at least one byte. Raises AnswerMalformed."""
    return expect(reply, bytes((0x61, local)), 1)


def write_request(local: int, data: bytes) -> bytes:
    """``3B xx data``. Raises InputError: no data."""
    if not data:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"no data to write to {local:02X}")
    return bytes((0x3B, byte(local, "local identifier"))) + data


def read_written(reply: bytes, local: int) -> None:
    """``7B xx``: taken; only reading back proves what the module holds. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, bytes((0x7B, local))), 0)
