"""What a layout may not say: fields that overlap or overhang, values that cannot be, rules about nothing."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from . import checksum
from .layout import CheckKind, Layout, Option, OptionKind

Path = tuple[str | int, ...]


class Fault(msgspec.Struct, frozen=True):
    """One fault: the field's path, why, and what to write instead."""

    path: Path
    why: str
    instead: str


def faults_of(layout: Layout) -> tuple[Fault, ...]:
    """Every fault of a layout; empty: it may be used."""
    return (*_options(layout), *_overlaps(layout), *_checks(layout), *_rules(layout))


def _options(layout: Layout) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for n, option in enumerate(layout.options):
        path: Path = ("options", n)
        if option.id in seen:
            yield Fault((*path, "id"), f"{option.id} stands already at options[{seen[option.id] + 1}]", "another id")
        seen[option.id] = n
        if option.at + option.length > layout.length:
            why = f"bytes {option.at} to {option.at + option.length - 1} of {layout.length}"
            yield Fault((*path, "at"), why, f"at most {layout.length - option.length}, counted from 0")
        if option.bit + option.width > 8 * option.length:
            why = f"bits {option.bit} to {option.bit + option.width - 1} of {8 * option.length}"
            yield Fault((*path, "bits"), why, "bits within its bytes, counted from 0; a longer length")
        yield from _kind(option, path)


def _kind(option: Option, path: Path) -> Iterator[Fault]:
    match option.kind:
        case OptionKind.FLAG if option.width != 1:
            yield Fault((*path, "bits"), f"a flag has one bit, not {option.width}", "bits: 1")
        case OptionKind.CHOICE if not option.choices:
            yield Fault((*path, "choices"), "a choice without values", "choices: [{value: 0, text: …}]")
        case OptionKind.DIGITS if option.width % 4:
            yield Fault((*path, "bits"), f"a digit has four bits; {option.width} is no multiple", "bits: 4, 8, 12 …")
        case OptionKind.TEXT if option.width % 8 or option.bit:
            yield Fault((*path, "bits"), "a text has whole bytes", "bits: 0")
        case _:
            pass
    values = [c.value for c in option.choices]
    for n, value in enumerate(values):
        if value >> option.width:
            why = f"{value} does not fit into {option.width} bits"
            yield Fault((*path, "choices", n, "value"), why, f"at most {(1 << option.width) - 1}")
        if value in values[:n]:
            yield Fault((*path, "choices", n, "value"), f"{value} means two things", "each value once")
    words = [c.text.casefold() for c in option.choices]
    for n, word in enumerate(words):
        if word in words[:n]:
            yield Fault((*path, "choices", n, "text"), f'two values are called "{word}"', "each text once")
    if option.low is not None and option.high is not None and option.low > option.high:
        yield Fault((*path, "low"), f"{option.low} is above {option.high}", "low at most high")


def _overlaps(layout: Layout) -> Iterator[Fault]:
    owner: dict[tuple[int, int], str] = {}
    for n, check in enumerate(layout.checks):
        for byte in range(check.at, check.at + check.length):
            for bit in range(8):
                if (byte, bit) in owner:
                    yield Fault(("checks", n, "at"), f"byte {byte} is also {owner[byte, bit]}", "bytes of its own")
                    break
                owner[byte, bit] = f"checks[{n + 1}]"
    for n, option in enumerate(layout.options):
        if option.bit + option.width > 8 * option.length:
            continue
        places = list(_places(option))
        other = next((owner[p] for p in places if p in owner), None)
        if other is not None:
            place = next(p for p in places if p in owner)
            why = f"byte {place[0]} bit {place[1]} belongs to {other}"
            yield Fault(("options", n, "at"), why, "bits of its own")
        owner.update(dict.fromkeys(places, option.id))


def _places(option: Option) -> Iterator[tuple[int, int]]:
    bits = option.mask.to_bytes(option.length, "big" if option.big_endian else "little")
    for byte, mask in enumerate(bits, option.at):
        yield from ((byte, bit) for bit in range(8) if mask >> bit & 1)


def _checks(layout: Layout) -> Iterator[Fault]:
    for n, check in enumerate(layout.checks):
        path: Path = ("checks", n)
        if max(check.at + check.length - 1, check.last) >= layout.length or check.first > check.last:
            yield Fault((*path, "last"), "it reaches beyond the coding", f"bytes 0 to {layout.length - 1}")
        elif check.first < check.at + check.length and check.at <= check.last:
            yield Fault((*path, "at"), "it lies within the bytes it checks", "a place outside first to last")
        if check.kind is CheckKind.CRC:
            yield from _crc(layout, n)


def _crc(layout: Layout, n: int) -> Iterator[Fault]:
    check = layout.checks[n]
    if not 1 <= check.width <= 8 * check.length or check.width > 64 or check.poly >> check.width:
        yield Fault(("checks", n, "width"), f"a CRC of {check.width} bits", f"1 to {8 * check.length}, poly within it")
    elif not checksum.proved(check):
        why = "the parameters do not give this value over the digits 123456789"
        yield Fault(("checks", n, "check"), why, "poly, init, refin, refout, xorout and check as published")


def _rules(layout: Layout) -> Iterator[Fault]:
    for n, rule in enumerate(layout.rules):
        for part, terms in (("when", rule.when), ("needs", rule.needs)):
            for m, term in enumerate(terms):
                path: Path = ("rules", n, part, m)
                option = layout.option(term.option)
                if option is None:
                    yield Fault((*path, "option"), f"{term.option} is no option here", "the id of an option")
                elif any(v >> option.width for v in term.values):
                    yield Fault((*path, "values"), f"more than {option.width} bits hold", "values it can have")
