"""Checksums of a coding: sums, and CRCs by their published parameters through ``anycrc``."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, cast

import anycrc

from .layout import Check, CheckKind

#: What every CRC catalogue gives the value of.
NINE = b"123456789"


def compute(check: Check, data: bytes) -> bytes:
    """The checksum's bytes over a coding; its own bytes need not be right."""
    part = data[check.first : check.last + 1]
    value = _crc(check, part) if check.kind is CheckKind.CRC else sum(part)
    if check.kind is CheckKind.SUM and check.invert:
        value = ~value
    value &= (1 << 8 * check.length) - 1
    return value.to_bytes(check.length, "big" if check.big_endian else "little")


def stored(check: Check, data: bytes) -> bytes:
    """The bytes that stand where the checksum belongs."""
    return data[check.at : check.at + check.length]


def put(check: Check, data: bytes) -> bytes:
    """The coding with this checksum made right."""
    return data[: check.at] + compute(check, data) + data[check.at + check.length :]


def proved(check: Check) -> bool:
    """Whether the parameters give their published value over the digits 123456789."""
    return check.kind is CheckKind.SUM or _crc(check, NINE) == check.check


def _crc(check: Check, data: bytes) -> int:
    return _engine(check.width, check.poly, check.init, check.refin, check.refout, check.xorout)(data)


@lru_cache(maxsize=64)
def _engine(width: int, poly: int, init: int, refin: bool, refout: bool, xorout: int) -> Callable[[bytes], int]:
    made = cast("Any", anycrc).CRC(width=width, poly=poly, init=init, refin=refin, refout=refout, xorout=xorout)
    return cast("Callable[[bytes], int]", made.calc)
