"""Overheard exchanges in words, and what changes the car marked as such. Pure.

Services of UDS and OBD; the words are ours. Source of the services: ISO 14229-1, ISO 15031-5 (recalled).
"""

from __future__ import annotations

from collections.abc import Callable

from asleft.codec.answer import AnswerMalformed
from asleft.codec.effects import effect_of
from asleft.codec.obd import codes, current, vehicle_info
from asleft.codec.refusal import refusal_of
from asleft.codec.uds import read_codes
from asleft.model.effect import Effect
from asleft.model.reading import to_hex
from asleft.model.trouble import CodeKind

from .errors import shown
from .overhearing import HeardExchange
from .pictures import IDENTIFICATION
from .reading_items import text_or_hex

_SERVICES: dict[int, str] = {
    0x01: "live data",
    0x02: "freeze frame",
    0x03: "stored codes",
    0x04: "clear codes (OBD)",
    0x06: "monitor results",
    0x07: "pending codes",
    0x08: "control a system",
    0x09: "vehicle information",
    0x0A: "permanent codes",
    0x10: "diagnostic session",
    0x11: "restart the module",
    0x14: "clear codes",
    0x19: "codes",
    0x22: "identifier",
    0x23: "memory",
    0x27: "security access",
    0x28: "communication control",
    0x29: "authentication",
    0x2E: "write identifier",
    0x2F: "control output",
    0x31: "routine",
    0x34: "download into the module",
    0x36: "transfer data",
    0x37: "end of transfer",
    0x3D: "write memory",
    0x3E: "tester present",
    0x85: "code setting",
}
_KINDS = {0x03: CodeKind.STORED, 0x07: CodeKind.PENDING, 0x0A: CodeKind.PERMANENT}
_NAMES = {item.identifier: item.name for item in IDENTIFICATION}
_INFO = {0x02: "VIN", 0x04: "calibration identification", 0x06: "verification numbers", 0x0A: "module name"}
_ROUTINE = {1: "start", 2: "stop", 3: "result of"}
_QUIET = frozenset({Effect.READS, Effect.SESSION, Effect.ACCESS})
#: Longest answer shown as bytes.
_SHOWN = 16


def effect_heard(exchange: HeardExchange) -> Effect:
    """What the request did to the car, as its bytes say; ``READS`` for one that was refused."""
    return Effect.READS if exchange.refusal is not None else effect_of(exchange.request)


def changes(exchange: HeardExchange) -> bool:
    """Whether the request, as its bytes say, changes the car, and was not refused."""
    return effect_heard(exchange) not in _QUIET


def line(exchange: HeardExchange) -> str:
    """``12.345 s  module 7E8 7E0/7E8  identifier F190 (VIN): …``; a change of the car is marked."""
    whom = "everybody, " if exchange.to_all else ""
    mark = f"  <- {effect_of(exchange.request).value}" if changes(exchange) else ""
    return f"{exchange.asked_s:9.3f} s  {whom}{exchange.module.text}  {_asked(exchange)}: {_told(exchange)}{mark}"


def _asked(exchange: HeardExchange) -> str:
    request = exchange.request
    what = _SERVICES.get(request[0], f"service {request[0]:02X}")
    match request[0]:
        case 0x22 | 0x2E | 0x2F if len(request) >= 3:
            identifiers = [int.from_bytes(request[i : i + 2], "big") for i in range(1, len(request) - 1, 2)]
            named = [_named(i) for i in (identifiers if request[0] == 0x22 else identifiers[:1])]
            return f"{what} {', '.join(named)}"
        case 0x31 if len(request) >= 4:
            return f"{_ROUTINE.get(request[1] & 0x7F, 'ask')} {what} {to_hex(request[2:4])}"
        case 0x09 if len(request) >= 2:
            return f"{what} {request[1]:02X}" + (f" ({_INFO[request[1]]})" if request[1] in _INFO else "")
        case 0x10 | 0x11 | 0x19 | 0x27 | 0x28 | 0x29 | 0x85 if len(request) >= 2:
            return f"{what} {request[1] & 0x7F:02X}"
        case 0x01 | 0x02 | 0x06:
            return f"{what} {to_hex(request[1:])}"
        case known if known in _SERVICES:
            return what
        case _:
            return f"{what} ({shown(request)})"


def _named(identifier: int) -> str:
    name = _NAMES.get(identifier)
    return f"{identifier:04X} ({name})" if name else f"{identifier:04X}"


def _told(exchange: HeardExchange) -> str:
    if not exchange.answer:
        return "no answer heard" if exchange.due else "no answer asked for"
    if exchange.refusal is not None:
        return f"refused with {exchange.refusal:02X}: {refusal_of(exchange.refusal).message.text}"
    try:
        return _READERS.get(exchange.request[0], _bytes)(exchange)
    except AnswerMalformed as error:
        return f"{_bytes(exchange)} ({error.detail})"


def _bytes(exchange: HeardExchange) -> str:
    rest = exchange.answer[1:]
    if exchange.request[0] in (0x27, 0x29) or not rest:
        return "done"
    return to_hex(rest[:_SHOWN]) + (f"… ({len(rest)} bytes)" if len(rest) > _SHOWN else "")


def _done(exchange: HeardExchange) -> str:
    del exchange
    return "done"


def _identifier(exchange: HeardExchange) -> str:
    return text_or_hex(exchange.answer[3:]) if len(exchange.request) == 3 else _bytes(exchange)


def _codes(exchange: HeardExchange) -> str:
    return ", ".join(codes.read_codes(exchange.answer, _KINDS[exchange.request[0]])) or "none"


def _uds_codes(exchange: HeardExchange) -> str:
    if exchange.request[1:2] != b"\x02":
        return _bytes(exchange)
    found = read_codes.read_list(exchange.answer).codes
    return ", ".join(f"{c.code}-{c.failure_type:02X} status {c.status:02X}" for c in found) or "none"


def _info(exchange: HeardExchange) -> str:
    info = vehicle_info.read_info(exchange.answer, exchange.request[1])
    return ", ".join(info.texts) or _bytes(exchange)


def _live(exchange: HeardExchange) -> str:
    parts = current.split_current(exchange.answer, list(exchange.request[1:]))
    values = [value for pid, data in parts.items() for value in current.read_parameter(pid, data)]
    told = [f"{v.signal} {v.word or ('not there' if v.value is None else f'{v.value:g} {v.unit}')}" for v in values]
    return ", ".join(told) or _bytes(exchange)


_READERS: dict[int, Callable[[HeardExchange], str]] = {
    0x01: _live,
    0x03: _codes,
    0x07: _codes,
    0x0A: _codes,
    0x09: _info,
    0x10: _done,
    0x14: _done,
    0x04: _done,
    0x19: _uds_codes,
    0x22: _identifier,
    0x2E: _done,
    0x3E: _done,
}
