"""Data objects of an ODX data base as our closed scalings, or why they are none. Through odxtools (the extra ``data``).

Taken: standard-length unsigned and two's-complement integers, ASCII, byte fields; identical, linear and text-table
computation. All else is refused with a message. Source: ASAM MCD-2 D (ODX 2.2), clause 7.3.6, as odxtools reads it.
"""

from __future__ import annotations

from typing import Any

from asleft.model.step_more import CodedText, Scaling, ScalingKind
from asleft.model.units import UNITS

from .check_conditions import unit_meant

_INTEGERS = {"A_UINT32": False, "A_INT32": True}
#: A length of bytes that no diagnostic value has.
_LONGEST = 64


class Beyond(Exception):  # noqa: N818 - becomes a line of refusals
    """Something that our closed set does not hold; the text says what."""


def scaling_of(parameter: Any, skipped: int) -> Scaling:
    """Scaling of a response or request parameter. Args: skipped: bytes of service and identifier before the data.

    Raises: Beyond.
    """
    dop = getattr(parameter, "dop", None)
    coded, computed = getattr(dop, "diag_coded_type", None), getattr(dop, "compu_method", None)
    if coded is None or computed is None:
        raise Beyond(f"{parameter.short_name}: {parameter.parameter_type} with a structure, field or table")
    if parameter.byte_position is None:
        raise Beyond(f"{parameter.short_name}: its place depends on what stands before it")
    at, bit = parameter.byte_position - skipped, parameter.bit_position or 0
    base = coded.base_data_type.value
    unit = _unit(dop, parameter.short_name)
    if base in {"A_ASCIISTRING", "A_BYTEFIELD"}:
        kind = ScalingKind.TEXT if base == "A_ASCIISTRING" else ScalingKind.HEX
        _only_identical(computed, parameter.short_name)
        return Scaling(kind, at, _text_length(coded, parameter.short_name, bit))
    if base not in _INTEGERS:
        raise Beyond(f"{parameter.short_name}: base type {base}")
    place = _place(coded, parameter.short_name, at, bit, signed=_INTEGERS[base])
    return _computed(computed, parameter.short_name, place, unit)


def _place(coded: Any, name: str, at: int, bit: int, *, signed: bool) -> Scaling:
    if coded.dct_type != "STANDARD-LENGTH-TYPE":
        raise Beyond(f"{name}: coded as {coded.dct_type}")
    if getattr(coded, "bit_mask", None) is not None or getattr(coded, "is_condensed_raw", None):
        raise Beyond(f"{name}: a bit mask or condensed bits")
    encoding = coded.base_type_encoding
    if encoding is not None and encoding.value not in {"NONE", "2C"}:
        raise Beyond(f"{name}: encoding {encoding.value}")
    bits = coded.bit_length
    if bits % 8 == 0 and bit == 0:
        return Scaling(ScalingKind.NUMBER, at, bits // 8, signed=signed, big_endian=coded.is_highlow_byte_order)
    if bit + bits > 8 or signed:
        raise Beyond(f"{name}: {bits} bit(s) from bit {bit} on, {'signed' if signed else 'over more than one byte'}")
    return Scaling(ScalingKind.NUMBER, at, 0, bit, bits)


def _text_length(coded: Any, name: str, bit: int) -> int:
    if bit:
        raise Beyond(f"{name}: a text that begins within a byte")
    if coded.dct_type == "STANDARD-LENGTH-TYPE" and coded.bit_length % 8 == 0:
        return int(coded.bit_length) // 8
    if coded.dct_type == "MIN-MAX-LENGTH-TYPE" and coded.termination.value == "END-OF-PDU":
        return 0
    raise Beyond(f"{name}: coded as {coded.dct_type}")


def _only_identical(computed: Any, name: str) -> None:
    if computed.category.value != "IDENTICAL":
        raise Beyond(f"{name}: a text with computation {computed.category.value}")


def _computed(computed: Any, name: str, place: Scaling, unit: str) -> Scaling:
    match computed.category.value:
        case "IDENTICAL":
            return _with(place, unit=unit)
        case "LINEAR":
            segment = computed.segment
            if segment.internal_lower_limit is not None or segment.internal_upper_limit is not None:
                raise Beyond(f"{name}: a linear computation for a part of the range")
            below = segment.denominator or 1
            return _with(place, factor=segment.factor / below, offset=segment.offset / below, unit=unit)
        case "TEXTTABLE":
            scales = computed.compu_internal_to_phys.compu_scales
            return _with(place, kind=ScalingKind.CODED, texts=tuple(_coded(scale, name) for scale in scales))
        case other:
            raise Beyond(f"{name}: computation {other}")


def _coded(scale: Any, name: str) -> CodedText:
    low, high = scale.lower_limit, scale.upper_limit
    value = low.value if low is not None else None
    single = high is None or high.value == value
    words = scale.compu_const.value if scale.compu_const is not None else None
    if not isinstance(value, int) or not single or not isinstance(words, str):
        raise Beyond(f"{name}: a text for a range of values")
    return CodedText(value, words)


def _unit(dop: Any, name: str) -> str:
    unit = getattr(dop, "unit", None)
    shown = (unit.display_name or "").strip() if unit is not None else ""
    if not shown:
        return "1"
    meant = shown if shown in UNITS else unit_meant(shown)
    if meant not in UNITS:
        raise Beyond(f"{name}: unit {shown!r}")
    return meant


def _with(scaling: Scaling, **changes: Any) -> Scaling:
    from msgspec.structs import replace  # noqa: PLC0415 - its name says nothing alone

    return replace(scaling, **changes)
