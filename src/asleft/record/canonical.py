"""Whether bytes are canonical JSON, quickly.

The exact answer is to parse and write again (RFC 8785). Written in Python that takes minutes for a long record, so a
compiled writer answers first: where it writes the same bytes again they are canonical, but for the few forms in which
the two differ (exponents, whole floats, long whole numbers, characters beyond the basic plane). Those, and whatever the
compiled writer writes otherwise, go the exact way.
"""

from __future__ import annotations

import json
from typing import Any, cast

import msgspec
import rfc8785

#: Bytes by kind: ``0`` a digit, ``,`` what may stand before a number, ``F`` beyond the basic plane, ``x`` the rest.
_KINDS = bytes(
    ord("0") if 0x30 <= byte <= 0x39 else ord(",") if byte in b":,[-" else ord("F") if byte >= 0xF0 else ord("x")
    for byte in range(256)
)
_LONG = b"," + b"0" * 16


class _ExactlyError(Exception):
    """A number whose form the compiled writer may not share."""


def is_canonical(text: bytes) -> bool:
    """Whether ``text`` is JSON exactly as RFC 8785 writes it."""
    return _surely_canonical(text) or exactly_canonical(text)


def canonical(value: object) -> bytes:
    """``value`` as RFC 8785 writes it: by the compiled writer where that surely gives the same, else exactly.

    Raises: ValueError, TypeError: it cannot be written.
    """
    try:
        text = _WRITER.encode(value)
        # the compiled writer makes null of a number that is none
        if b"null" not in text and _surely_canonical(text):
            return text
    except (msgspec.MsgspecError, TypeError, RecursionError):
        pass
    return rfc8785.dumps(cast("Any", value))


def _surely_canonical(text: bytes) -> bool:
    """True only for canonical bytes; False says nothing."""
    kinds = text.translate(_KINDS)
    if _LONG in kinds or b"F" in kinds:
        return False
    try:
        return _WRITER.encode(_READER.decode(text)) == text
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, _ExactlyError):
        return False


def exactly_canonical(text: bytes) -> bool:
    """The same by parsing and writing again; every number is a double there. Source: RFC 8785, 3.2."""
    try:
        value = json.loads(text, parse_int=float, parse_constant=_refuse)
        return rfc8785.dumps(value) == text
    except (ValueError, RecursionError):
        return False


def _number(text: str) -> float:
    if "e" in text or "E" in text or text.endswith(".0"):
        raise _ExactlyError
    return float(text)


def _refuse(name: str) -> object:
    raise ValueError(name)


_READER = msgspec.json.Decoder(float_hook=_number)
_WRITER = msgspec.json.Encoder(order="sorted")
