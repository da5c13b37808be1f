"""81 and 82 (begin and end to communicate), 10 and 20 (session), 3E (keep alive)."""

from __future__ import annotations

from asleft.codec.answer import byte, expect, expect_length

STANDARD = 0x81

START_COMMUNICATION = b"\x81"
STOP_COMMUNICATION = b"\x82"
STOP_SESSION = b"\x20"


def read_started(reply: bytes) -> bytes:
    """``C1`` and the two key bytes. Raises AnswerMalformed."""
    return expect_length(reply, expect(reply, b"\xc1"), 2)


def read_stopped(reply: bytes) -> None:
    """``C2``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\xc2"), 0)


def session_request(session: int) -> bytes:
    """``10 xx``."""
    return bytes((0x10, byte(session, "session")))


def read_session(reply: bytes, session: int) -> bytes:
    """``50 xx``; some modules add bytes, which are given back. Raises AnswerMalformed."""
    return expect(reply, bytes((0x50, session)))


def read_session_ended(reply: bytes) -> None:
    """``60``. Raises AnswerMalformed."""
    expect_length(reply, expect(reply, b"\x60"), 0)


def keep_alive_request(*, quiet: bool = False, short: bool = False) -> bytes:
    """``3E 01``, ``3E 02`` that asks for no answer, or the short form ``3E``."""
    if short:
        return b"\x3e"
    return b"\x3e\x02" if quiet else b"\x3e\x01"


def read_kept_alive(reply: bytes) -> None:
    """``7E``. Raises AnswerMalformed."""
    expect(reply, b"\x7e")
