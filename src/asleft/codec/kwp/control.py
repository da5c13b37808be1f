"""30 (output control), 31, 32 and 33 (local routine: start, stop, result). Identifiers have one byte."""

from __future__ import annotations

from asleft.codec.answer import byte, expect

RETURN_CONTROL, REPORT_STATE, TO_DEFAULT, FREEZE, EXECUTE, ADJUST, ADJUST_FOR_GOOD = 0, 1, 4, 5, 6, 7, 8


def output_request(local: int, control: int, state: bytes = b"") -> bytes:
    """``30 xx control state``."""
    return bytes((0x30, byte(local, "local identifier"), byte(control, "control"))) + state


def read_output(reply: bytes, local: int, control: int) -> bytes:
    """State as reported, perhaps empty. Raises AnswerMalformed."""
    return expect(reply, bytes((0x70, local, control)))


def start_request(routine: int, option: bytes = b"") -> bytes:
    """``31 xx option``."""
    return bytes((0x31, byte(routine, "routine"))) + option


def stop_request(routine: int, option: bytes = b"") -> bytes:
    """``32 xx option``."""
    return bytes((0x32, byte(routine, "routine"))) + option


def result_request(routine: int) -> bytes:
    """``33 xx``."""
    return bytes((0x33, byte(routine, "routine")))


def read_started(reply: bytes, routine: int) -> bytes:
    """What follows ``71 xx``, perhaps nothing. Raises AnswerMalformed."""
    return expect(reply, bytes((0x71, routine)))


def read_stopped(reply: bytes, routine: int) -> bytes:
    """What follows ``72 xx``, perhaps nothing. Raises AnswerMalformed."""
    return expect(reply, bytes((0x72, routine)))


def read_result(reply: bytes, routine: int) -> bytes:
    """What follows ``73 xx``, perhaps nothing. Raises AnswerMalformed."""
    return expect(reply, bytes((0x73, routine)))
