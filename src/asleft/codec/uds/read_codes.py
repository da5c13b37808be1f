"""19, read trouble code information: 01 count, 02 by status mask, 04 snapshot, 06 extended data, 0A supported."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from asleft.codec.answer import AnswerMalformed, byte, expect, expect_length
from asleft.codec.trouble_code import join_code, split_code

#: Every record of a code.
ALL_RECORDS = 0xFF


class StatusCode(msgspec.Struct, frozen=True):
    """One trouble code with failure type and status byte."""

    code: str
    failure_type: int
    status: int


class CodeCount(msgspec.Struct, frozen=True):
    """How many codes match: status bits that the module keeps, form of its codes, number."""

    available: int
    format: int
    count: int


class CodeList(msgspec.Struct, frozen=True):
    """Status bits that the module keeps, and the codes."""

    available: int
    codes: tuple[StatusCode, ...]


class Snapshot(msgspec.Struct, frozen=True):
    """One record stored with a code.

    Attributes:
        record: its number.
        values: data identifier to bytes.
        rest: bytes that could not be taken apart, because an identifier's length is not known.
    """

    record: int
    values: dict[int, bytes]
    rest: bytes = b""


def count_request(mask: int) -> bytes:
    """``19 01 mask``."""
    return bytes((0x19, 0x01, byte(mask, "status mask")))


def read_count(reply: bytes) -> CodeCount:
    """``59 01``. Raises AnswerMalformed."""
    rest = expect_length(reply, expect(reply, b"\x59\x01"), 4)
    return CodeCount(rest[0], rest[1], int.from_bytes(rest[2:], "big"))


def list_request(mask: int) -> bytes:
    """``19 02 mask``: codes of which at least one status bit of the mask is set."""
    return bytes((0x19, 0x02, byte(mask, "status mask")))


def supported_request() -> bytes:
    """``19 0A``: every code that the module can store."""
    return b"\x19\x0a"


def read_list(reply: bytes, form: int = 0x02) -> CodeList:
    """Answer to 02 or 0A. Raises AnswerMalformed: another form, or no whole number of codes."""
    rest = expect(reply, bytes((0x59, form)))
    if not rest:
        return CodeList(0, ())
    body = rest[1:]
    if len(body) % 4:
        raise AnswerMalformed(reply, "a code with its status has four bytes")
    return CodeList(rest[0], tuple(_status_code(body[i : i + 4]) for i in range(0, len(body), 4)))


def snapshot_request(code: str, failure_type: int, record: int = ALL_RECORDS) -> bytes:
    """``19 04``: snapshot records of one code."""
    return b"\x19\x04" + join_code(code, byte(failure_type, "failure type")) + bytes((byte(record, "record"),))


def read_snapshots(reply: bytes, lengths: Mapping[int, int]) -> tuple[StatusCode, tuple[Snapshot, ...]]:
    """Answer to 04.

    Args:
        reply: positive answer.
        lengths: bytes of each data identifier that is known.
    Returns: the code with its status; records. After an identifier of unknown length nothing can be told apart: all
        that follows stands in ``rest`` of the last record.
    Raises: AnswerMalformed: shorter than it says.
    """
    rest = expect(reply, b"\x59\x04", 4)
    code, body = _status_code(rest[:4]), rest[4:]
    records: list[Snapshot] = []
    while body:
        record, body = _snapshot(reply, body, lengths)
        records.append(record)
    return code, tuple(records)


def _snapshot(reply: bytes, body: bytes, lengths: Mapping[int, int]) -> tuple[Snapshot, bytes]:
    if len(body) < 2:
        raise AnswerMalformed(reply, "a record is cut short")
    number, count, body = body[0], body[1], body[2:]
    values: dict[int, bytes] = {}
    for _ in range(count):
        if len(body) < 2:
            raise AnswerMalformed(reply, f"record {number} is cut short")
        did = int.from_bytes(body[:2], "big")
        length = lengths.get(did)
        if length is None:
            return Snapshot(number, values, body), b""
        if len(body) < 2 + length:
            raise AnswerMalformed(reply, f"record {number} is cut short")
        values[did], body = body[2 : 2 + length], body[2 + length :]
    return Snapshot(number, values), body


def extended_request(code: str, failure_type: int, record: int = ALL_RECORDS) -> bytes:
    """``19 06``: extended data records of one code."""
    return b"\x19\x06" + join_code(code, byte(failure_type, "failure type")) + bytes((byte(record, "record"),))


def read_extended(reply: bytes, lengths: Mapping[int, int]) -> tuple[StatusCode, dict[int, bytes]]:
    """Answer to 06: record number to data.

    Args:
        reply: positive answer.
        lengths: bytes of each record that is known; one of unknown length takes all that follows.
    Raises: AnswerMalformed: shorter than it says.
    """
    rest = expect(reply, b"\x59\x06", 4)
    code, body = _status_code(rest[:4]), rest[4:]
    records: dict[int, bytes] = {}
    while body:
        number, body = body[0], body[1:]
        length = lengths.get(number, len(body))
        if len(body) < length:
            raise AnswerMalformed(reply, f"record {number} is cut short")
        records[number], body = body[:length], body[length:]
    return code, records


def _status_code(data: bytes) -> StatusCode:
    code, failure_type = split_code(data[:3])
    return StatusCode(code, failure_type, data[3])
