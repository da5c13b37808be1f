"""Values out of bytes and bytes out of values, by a step's scaling. Pure, exact, and refused rather than bent.

>>> decode(Scaling(ScalingKind.NUMBER, length=2, factor=0.25, unit="rpm"), b"\x0b\xb8")
750.0
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from asleft.model.errors import Code, InputError, ModuleError
from asleft.model.step_more import Scaling, ScalingKind

#: More digits than any value has.
_DIGITS = 40


def decode(scaling: Scaling, data: bytes) -> float | str:
    """The value in the bytes that follow the identifier.

    Returns: a number in ``scaling.unit``, or a text (ASCII, coded words, hex with spaces).
    Raises: ModuleError: answer-malformed, too few bytes, no ASCII, a coded value without words.
    """
    part = _part(scaling, data)
    match scaling.kind:
        case ScalingKind.HEX:
            return part.hex(" ").upper()
        case ScalingKind.TEXT:
            text = part.rstrip(b"\x00 ")
            if not text.isascii() or not text.decode("ascii").isprintable():
                raise ModuleError(Code.ANSWER_MALFORMED, f"no readable text: {part.hex(' ')}")
            return text.decode("ascii")
        case ScalingKind.CODED:
            raw = _raw(scaling, part)
            words = next((one.text for one in scaling.texts if one.value == raw), None)
            if words is None:
                raise ModuleError(Code.ANSWER_MALFORMED, f"the value {raw} has no words in the source")
            return words
        case ScalingKind.NUMBER:
            exact = Decimal(_raw(scaling, part)) * Decimal(repr(scaling.factor)) + Decimal(repr(scaling.offset))
            return float(exact)


def encode(scaling: Scaling, typed: str, old: bytes = b"") -> bytes:
    """Bytes for a typed value; bits beside it are taken from ``old``, the bytes read before.

    Raises: InputError: identifier-impossible, a value that the bytes cannot hold exactly, or that is none.
    """
    match scaling.kind:
        case ScalingKind.HEX | ScalingKind.TEXT:
            part = _texted(scaling, typed)
        case ScalingKind.CODED | ScalingKind.NUMBER:
            part = _numbered(scaling, typed, old)
    end = scaling.at + len(part)
    if scaling.at > len(old):
        raise _no(f"{scaling.at} byte(s) stand before it and were not read")
    return old[: scaling.at] + part + old[end:]


def _part(scaling: Scaling, data: bytes) -> bytes:
    end = scaling.at + _length(scaling) if _length(scaling) else len(data)
    if len(data) < end or scaling.at >= len(data):
        raise ModuleError(Code.ANSWER_MALFORMED, f"{len(data)} byte(s), {max(end, scaling.at + 1)} are wanted")
    return data[scaling.at : end]


def _length(scaling: Scaling) -> int:
    return 1 if scaling.bits else scaling.length


def _raw(scaling: Scaling, part: bytes) -> int:
    if scaling.bits:
        return (part[0] >> scaling.bit) & ((1 << scaling.bits) - 1)
    return int.from_bytes(part, "big" if scaling.big_endian else "little", signed=scaling.signed)


def _texted(scaling: Scaling, typed: str) -> bytes:
    if scaling.kind is ScalingKind.TEXT:
        if not typed.isascii():
            raise _no(f"{typed!r} holds more than ASCII")
        part = typed.encode("ascii")
    else:
        try:
            part = bytes.fromhex(typed)
        except ValueError:
            raise _no(f"{typed!r} is no row of bytes in hex") from None
    if scaling.length and len(part) != scaling.length:
        raise _no(f"{len(part)} byte(s), {scaling.length} are wanted")
    return part


def _numbered(scaling: Scaling, typed: str, old: bytes) -> bytes:
    raw = _coded(scaling, typed) if scaling.kind is ScalingKind.CODED else _counted(scaling, typed)
    if scaling.bits:
        if not 0 <= raw < 1 << scaling.bits:
            raise _no(f"{typed} does not go into {scaling.bits} bit(s)")
        if len(old) <= scaling.at:
            raise _no("the bits beside it were not read")
        mask = ((1 << scaling.bits) - 1) << scaling.bit
        return bytes((old[scaling.at] & ~mask & 0xFF | raw << scaling.bit,))
    try:
        return raw.to_bytes(scaling.length, "big" if scaling.big_endian else "little", signed=scaling.signed)
    except OverflowError:
        raise _no(f"{typed} does not go into {scaling.length} byte(s)") from None


def _coded(scaling: Scaling, typed: str) -> int:
    value = next((one.value for one in scaling.texts if one.text == typed), None)
    if value is None:
        raise _no(f"{typed!r} is none of {', '.join(one.text for one in scaling.texts)}")
    return value


def _counted(scaling: Scaling, typed: str) -> int:
    try:
        if len(typed) > _DIGITS or Decimal(typed).adjusted() > _DIGITS:
            raise _no(f"{typed[:_DIGITS]} has more digits than any of the bytes")
        raw = (Decimal(typed) - Decimal(repr(scaling.offset))) / Decimal(repr(scaling.factor))
    except (InvalidOperation, ZeroDivisionError):
        raise _no(f"{typed!r} is no number here") from None
    if not raw.is_finite() or raw != raw.to_integral_value():
        raise _no(f"{typed} is no whole step of {scaling.factor:g} {scaling.unit}")
    return int(raw)


def _no(why: str) -> InputError:
    return InputError(Code.IDENTIFIER_IMPOSSIBLE, why)
