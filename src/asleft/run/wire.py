"""The bytes of effects in the language of the modules: UDS, or their KWP2000 equivalents.

Source: ISO 14229-1 (services 11, 14, 2F, 31); ISO 14230-3 (11, 14, 30, 31 to 33); recalled.
"""

from __future__ import annotations

from asleft.book.identifier import Identifier
from asleft.codec.kwp import codes as kwp_codes
from asleft.codec.kwp import control as kwp
from asleft.codec.refusal import Protocol
from asleft.codec.uds import clear_codes, control_output, routine
from asleft.codec.uds.routine import RoutineAction
from asleft.model.errors import Code, InputError

_KWP = Protocol.KWP2000


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
