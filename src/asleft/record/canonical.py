"""Whether bytes are canonical JSON, quickly.

The exact answer is to parse and write again (RFC 8785). Written in Python that takes minutes for a long record, so a
compiled writer answers first: where it writes the same bytes again they are canonical, but for the few forms in which
the two differ (exponents, whole floats, long whole numbers, characters beyond the basic plane). Those, and whatever the
compiled writer writes otherwise, go the exact way.
"""

from __future__ import annotations

import json

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
    kinds = text.translate(_KINDS)
    if _LONG not in kinds and b"F" not in kinds:
        try:
            if _WRITER.encode(_READER.decode(text)) == text:
                return True
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, _ExactlyError):
            pass
    return exactly_canonical(text)


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
