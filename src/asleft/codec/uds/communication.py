"""28, communication control: which messages a module sends and hears until the session ends."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, expect_length

ENABLE, ENABLE_RX_DISABLE_TX, DISABLE_RX_ENABLE_TX, DISABLE = 0x00, 0x01, 0x02, 0x03
NORMAL, NETWORK_MANAGEMENT, BOTH = 0x01, 0x02, 0x03


def make_request(control: int, messages: int = NORMAL) -> bytes:
    """``28 control messages``."""
    return bytes((0x28, byte(control, "control"), byte(messages, "messages")))


def read_answer(reply: bytes, control: int) -> None:
    """``68 control``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, bytes((0x68, control))), 0)
