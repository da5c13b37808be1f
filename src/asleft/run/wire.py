"""The bytes of effects in the language of the modules: UDS, or their KWP2000 equivalents.

Source: ISO 14229-1 (services 11, 14, 22, 2E, 2F, 31); ISO 14230-3 (11, 14, 1A, 21, 30 to 33, 3B); recalled.
"""

from __future__ import annotations

from asleft.book.identifier import Identifier
from asleft.codec.kwp import codes as kwp_codes
from asleft.codec.kwp import control as kwp
from asleft.codec.kwp import data as kwp_data
from asleft.codec.refusal import Protocol
from asleft.codec.uds import clear_codes, control_output, read_data, restart, routine, write_data
from asleft.codec.uds.routine import RoutineAction
from asleft.model.errors import Code, InputError

_KWP = Protocol.KWP2000
#: Identification that both languages have; KWP2000 names it by the low byte. Source: ISO 14229-1, annex C (recalled).
_IDENTIFICATION = range(0xF180, 0xF1A0)


def start_routine(identifier: Identifier, protocol: Protocol) -> bytes:
    """``31 01 xx xx``; KWP2000 ``31 xx``. Raises InputError (identifier-impossible): more than one byte in KWP2000."""
    return kwp.start_request(local(identifier)) if protocol is _KWP else identifier.request


def stop_routine(identifier: Identifier, protocol: Protocol) -> bytes:
    """``31 02 xx xx``; KWP2000 ``32 xx``."""
    return kwp.stop_request(local(identifier)) if protocol is _KWP else identifier.stop_request


def ask_result(identifier: Identifier, protocol: Protocol) -> bytes:
    """``31 03 xx xx``; KWP2000 ``33 xx``."""
    return kwp.result_request(local(identifier)) if protocol is _KWP else identifier.result_request


def result_of(answer: bytes, identifier: Identifier, protocol: Protocol) -> bytes:
    """What a routine reports. Raises ModuleError (answer-malformed)."""
    if protocol is _KWP:
        return kwp.read_result(answer, local(identifier))
    return routine.read_answer(answer, RoutineAction.RESULT, identifier.value)


def control(identifier: int, state: bytes, protocol: Protocol) -> tuple[bytes, bytes]:
    """Control an output, and give control back: ``2F xx xx 03 state`` and ``2F xx xx 00``; KWP2000 ``30``, 07 and 00.

    Raises: InputError (identifier-impossible).
    """
    if protocol is _KWP:
        name = _one_byte(identifier)
        return kwp.output_request(name, kwp.ADJUST, state), kwp.output_request(name, kwp.RETURN_CONTROL)
    adjust = control_output.make_request(identifier, control_output.ADJUST, state)
    return adjust, control_output.make_request(identifier, control_output.RETURN_CONTROL)


def read_of(identifier: int, protocol: Protocol) -> bytes:
    """``22 xx xx``; KWP2000 ``1A xx`` for identification (F180 to F19F in UDS), else ``21 xx``.

    Raises: InputError (identifier-impossible).
    """
    if protocol is not _KWP:
        return read_data.make_request(identifier)
    if identifier in _IDENTIFICATION:
        return kwp_data.identification_request(identifier & 0xFF)
    return kwp_data.read_request(_one_byte(identifier))


def data_of(answer: bytes, identifier: int, protocol: Protocol) -> bytes:
    """What ``read_of`` was answered with. Raises ModuleError (answer-malformed)."""
    if protocol is not _KWP:
        return read_data.read_answer(answer, identifier)
    if identifier in _IDENTIFICATION:
        return kwp_data.read_identification(answer, identifier & 0xFF)
    return kwp_data.read_value(answer, _one_byte(identifier))


def write_of(identifier: int, value: bytes, protocol: Protocol) -> bytes:
    """``2E xx xx value``; KWP2000 ``3B xx value``. Raises InputError (identifier-impossible)."""
    if protocol is _KWP:
        return kwp_data.write_request(_one_byte(identifier), value)
    return write_data.make_request(identifier, value)


def written_in(payload: bytes, protocol: Protocol) -> tuple[int, bytes] | None:
    """Identifier and value of a write; None for other bytes."""
    if protocol is _KWP:
        return (payload[1], payload[2:]) if payload[:1] == b"\x3b" and len(payload) > 2 else None
    is_write = payload[:1] == b"\x2e" and len(payload) > 3
    return (int.from_bytes(payload[1:3], "big"), payload[3:]) if is_write else None


def started_in(payload: bytes, protocol: Protocol) -> int | None:
    """Identifier of the routine that these bytes start or stop; None for other bytes."""
    if protocol is _KWP:
        return payload[1] if payload[:1] in (b"\x31", b"\x32") and len(payload) > 1 else None
    return int.from_bytes(payload[2:4], "big") if payload[:1] == b"\x31" and len(payload) > 3 else None


def restart_of(kind: int, protocol: Protocol) -> bytes:
    """``11 xx``. KWP2000 has power-on (01) only. Raises InputError (step-unhandled)."""
    if protocol is _KWP and kind != restart.HARD:
        raise InputError(Code.STEP_UNHANDLED, "KWP2000 knows one restart, as after power-on: write it as hard")
    return restart.make_request(kind)


def clear_all(protocol: Protocol) -> bytes:
    """``14 FF FF FF``; KWP2000 ``14 FF 00``."""
    return kwp_codes.clear_request() if protocol is _KWP else clear_codes.make_request()


def local(identifier: Identifier) -> int:
    """The one byte of a KWP2000 routine. Raises InputError (identifier-impossible)."""
    return _one_byte(identifier.value)


def _one_byte(value: int) -> int:
    if value > 0xFF:
        raise InputError(Code.IDENTIFIER_IMPOSSIBLE, f"{value:04X}: in KWP2000 it has one byte, 00 to FF")
    return value
