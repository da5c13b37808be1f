"""The bytes a step sends, as far as they are known without the car.

Source: ISO 14229-1 for services 10, 11, 14, 22, 27, 2E, 2F, 31 (recalled).
"""

from __future__ import annotations

from asleft.model.step import Clear, RoutineResult, RoutineStart, Session
from asleft.model.step_coding import Coding
from asleft.model.step_more import (
    Access,
    Actuate,
    AnyStep,
    Base,
    Read,
    Restart,
    RestartModule,
    RoutineStop,
    Write,
)

from .identifier import Identifier, parse
from .layouts import own_layout
from .printed import any_bytes, two_bytes

_RESTARTS = {Restart.HARD: 1, Restart.KEY_OFF_ON: 2, Restart.SOFT: 3}
_GIVE_BACK, _ADJUST = 0x00, 0x03


def requests_of(step: AnyStep, identifier: Identifier | None, coding: bytes | None = None) -> tuple[bytes, ...]:
    """Requests in order; empty when the step sends none of its own or none is known yet.

    Args: coding: composed before; None where it is not known yet.
    Raises: InputError: identifier-impossible (a checked procedure has none).
    """
    match step:
        case Session():
            return (bytes((0x10, step.session)),)
        case RoutineStart() if step.identifier:
            return (parse(step.identifier, Base.HEX).request,)
        case RoutineResult() if step.identifier:
            return (parse(step.identifier, Base.HEX).result_request,)
        case RoutineStart():
            return () if identifier is None else (identifier.request,)
        case RoutineStop():
            return () if identifier is None else (identifier.stop_request,)
        case RoutineResult():
            return () if identifier is None else (identifier.result_request,)
        case Clear():
            return (bytes((0x14, 0xFF, 0xFF, 0xFF)),)
        case Read():
            return (b"\x22" + _word(step.identifier, step),)
        case Write():
            back = (b"\x22" + _word(step.identifier, step),)
            if not step.value:
                return back
            return (b"\x2e" + _word(step.identifier, step) + any_bytes(step.value, step.printed), *back)
        case Actuate():
            head = b"\x2f" + _word(step.identifier, step)
            return (head + bytes((_ADJUST,)) + any_bytes(step.state, step.printed), head + bytes((_GIVE_BACK,)))
        case Coding():
            word = _coded(step)
            read = b"\x22" + word
            return (read, b"\x2e" + word + coding, read) if coding is not None else (read,)
        case Access():
            return (bytes((0x27, step.level)),)
        case RestartModule():
            return (bytes((0x11, _RESTARTS[step.way])),)
        case _:
            return ()


def _coded(step: Coding) -> bytes:
    layout = own_layout(step.layout)
    return two_bytes(layout.identifier, layout.printed).to_bytes(2, "big")


def _word(text: str, step: Read | Write | Actuate) -> bytes:
    return two_bytes(text, step.printed).to_bytes(2, "big")
