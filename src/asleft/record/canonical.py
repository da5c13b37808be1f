"""Whether bytes are canonical JSON, quickly.

The exact answer is to parse and write again (RFC 8785). Written in Python that takes minutes for a long record, so a
compiled writer answers first wherever its output is the canonical one; the places where the two forms differ
(exponents, whole floats, escapes, long numbers, characters beyond the basic plane, minus zero) go the exact way.
"""

from __future__ import annotations

import json
import re

import msgspec
import rfc8785

_DIFFERS = re.compile(rb"\\u|\.0(?![0-9])|[0-9][eE]|[\xf0-\xff]|[0-9]{16}|-0|\x7f|0\.0000")
_WRITER = msgspec.json.Encoder(order="sorted")


def is_canonical(text: bytes) -> bool:
    """Whether ``text`` is JSON exactly as RFC 8785 writes it."""
    if _DIFFERS.search(text) is None:
        try:
            return _WRITER.encode(msgspec.json.decode(text)) == text
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
            return False
    return exactly_canonical(text)


def exactly_canonical(text: bytes) -> bool:
    """The same by parsing and writing again; every number is a double there. Source: RFC 8785, 3.2."""
    try:
        value = json.loads(text, parse_int=float, parse_constant=_refuse)
        return rfc8785.dumps(value) == text
    except (ValueError, RecursionError):
        return False


def _refuse(name: str) -> object:
    raise ValueError(name)
