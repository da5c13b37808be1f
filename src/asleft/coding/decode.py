"""A coding in words: every option, what no source explains, whether its checks and rules hold."""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.reading import to_hex

from . import checksum
from .layout import Layout, Rule, Term
from .values import Value, raw_of, value_of, words_of


class Decoded(msgspec.Struct, frozen=True):
    """One option as stored. ``value`` is None where the source gives the bits no meaning."""

    option: str
    name: str
    raw: int
    value: Value | None
    words: str


class Reading(msgspec.Struct, frozen=True):
    """A whole coding.

    Attributes:
        data: its bytes, hex. blank: a new module's.
        options: in the layout's order.
        unknown: the bits no option and no check covers, hex, all others zero.
        checks_hold: one a checksum. broken: rules that the options break.
    """

    data: str
    blank: bool
    options: tuple[Decoded, ...]
    unknown: str
    checks_hold: tuple[bool, ...]
    broken: tuple[Rule, ...]

    def value(self, option: str) -> Value | None:
        """Value of an option."""
        return next((o.value for o in self.options if o.option == option), None)


def decode(layout: Layout, data: bytes) -> Reading:
    """A coding in words. Raises InputError (coding-refused): another length than the layout's."""
    must_be_long(layout, data)
    options: list[Decoded] = []
    for option in layout.options:
        raw = raw_of(option, data)
        value = value_of(option, raw)
        options.append(Decoded(option.id, option.name, raw, value, words_of(option, value, raw)))
    unknown = bytes(a & b for a, b in zip(data, unknown_mask(layout), strict=True))
    holds = tuple(checksum.compute(c, data) == checksum.stored(c, data) for c in layout.checks)
    return Reading(
        to_hex(data), layout.is_blank(data), tuple(options), to_hex(unknown), holds, broken_rules(layout, data)
    )


def must_be_long(layout: Layout, data: bytes) -> None:
    """Raises InputError (coding-refused): it has not the layout's length."""
    if len(data) != layout.length:
        why = f"{len(data)} bytes; this layout has {layout.length}"
        raise InputError(Code.CODING_REFUSED, why, layout.id)


def unknown_mask(layout: Layout) -> bytes:
    """One for every bit that neither an option nor a checksum covers."""
    mask = bytearray(b"\xff" * layout.length)
    for option in layout.options:
        order = "big" if option.big_endian else "little"
        for place, bits in enumerate(option.mask.to_bytes(option.length, order), option.at):
            mask[place] &= ~bits & 0xFF
    for check in layout.checks:
        mask[check.at : check.at + check.length] = bytes(check.length)
    return bytes(mask)


def broken_rules(layout: Layout, data: bytes) -> tuple[Rule, ...]:
    """Rules that a coding breaks."""
    raws = {o.id: raw_of(o, data) for o in layout.options}

    def hold(terms: tuple[Term, ...]) -> bool:
        return all(raws.get(t.option) in t.values for t in terms)

    return tuple(r for r in layout.rules if hold(r.when) and not hold(r.needs))
