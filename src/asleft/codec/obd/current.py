"""Services 01 (now) and 02 (freeze frame): requests, and the answer taken apart into parameters.

Use::

    request = current_request([0x05, 0x0C, 0x0D])
    parts = split_current(bytes.fromhex("41057B0C1AF80D00"), [0x05, 0x0C, 0x0D])
    read_parameter(0x0C, parts[0x0C])[0].value  # 1726.0

Source: ISO 15031-5 / SAE J1979, services 01 and 02 on CAN; recalled. Check values, section 2.
"""

from __future__ import annotations

from collections.abc import Sequence

from asleft.codec.answer import AnswerMalformed, byte, expect
from asleft.model.errors import Code, InputError

from .fields import Value
from .parameters import PARAMETERS

#: Most parameters in one request on CAN.
MOST_AT_ONCE = 6
#: Most pairs of parameter and frame in one freeze frame request on CAN.
MOST_FRAMES_AT_ONCE = 3


def current_request(pids: Sequence[int]) -> bytes:
    """Service 01 for one to six parameters.

    Raises: InputError: none, too many, twice the same, or one that must be asked alone.
    """
    _check(pids, MOST_AT_ONCE)
    return bytes((0x01, *pids))


def freeze_request(pids: Sequence[int], frame: int = 0) -> bytes:
    """Service 02 for one to three parameters of one freeze frame.

    Raises: InputError: as for ``current_request``.
    """
    _check(pids, MOST_FRAMES_AT_ONCE)
    number = byte(frame, "frame")
    return bytes((0x02, *(value for pid in pids for value in (pid, number))))


def _check(pids: Sequence[int], most: int) -> None:
    if not 1 <= len(pids) <= most or len(set(pids)) != len(pids):
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"{len(pids)} parameters in one request")
    for pid in pids:
        byte(pid, "parameter")
        known = PARAMETERS.get(pid)
        if len(pids) > 1 and (known is None or known.alone):
            raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"parameter {pid:02X} must be asked alone")


def split_current(reply: bytes, asked: Sequence[int]) -> dict[int, bytes]:
    """Data bytes by parameter; those that the module left out are missing.

    Args:
        reply: positive answer, from 41 on.
        asked: the parameters of the request.
    Raises: AnswerMalformed: another service, a parameter not asked or twice there, a wrong length.
    """
    rest = expect(reply, b"\x41", 1)
    return _split(reply, rest, asked, 1)


def split_freeze(reply: bytes, asked: Sequence[int], frame: int = 0) -> dict[int, bytes]:
    """The same for service 02; each parameter is followed by the frame's number, which must be the one asked for."""
    rest = expect(reply, b"\x42", 1)
    return _split(reply, rest, asked, 2, frame)


def _split(reply: bytes, rest: bytes, asked: Sequence[int], head: int, frame: int = 0) -> dict[int, bytes]:
    parts: dict[int, bytes] = {}
    while rest:
        pid = rest[0]
        if pid not in asked or pid in parts:
            raise AnswerMalformed(reply, f"parameter {pid:02X} {'is there twice' if pid in parts else 'was not asked'}")
        if head == 2 and rest[1:2] != bytes((frame,)):
            raise AnswerMalformed(reply, f"parameter {pid:02X} is not of frame {frame}")
        length = _length(pid, rest, head, alone=len(asked) == 1)
        data = rest[head : head + length]
        if len(data) < length or not data:
            raise AnswerMalformed(reply, f"parameter {pid:02X} needs {length} bytes")
        parts[pid] = data
        rest = rest[head + length :]
    return parts


def _length(pid: int, rest: bytes, head: int, *, alone: bool) -> int:
    known = PARAMETERS.get(pid)
    if known is None or (known.alone and alone):
        return len(rest) - head
    return known.length


def read_parameter(pid: int, data: bytes) -> tuple[Value, ...]:
    """The quantities in one parameter's data; none for a parameter that the table does not know.

    Raises: AnswerMalformed: too few bytes.
    """
    known = PARAMETERS.get(pid)
    if known is None:
        return ()
    fields = [field for field in known.fields if not known.alone or field.start < len(data)]
    if not known.alone and len(data) != known.length:
        raise AnswerMalformed(data, f"parameter {pid:02X} has {known.length} bytes")
    return tuple(field.read(data) for field in fields)
