"""85, control DTC setting: whether a module may store new trouble codes until the session ends."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, expect_length

ON, OFF = 0x01, 0x02


def make_request(setting: int, record: bytes = b"") -> bytes:
    """``85 setting``."""
    return bytes((0x85, byte(setting, "setting"))) + record


def read_answer(reply: bytes, setting: int) -> None:
    """``C5 setting``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, bytes((0xC5, setting))), 0)
