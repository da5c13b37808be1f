"""A layout: what each bit of a module's coding means, as its source gives it. Data only; read by ``book.layouts``.

Bytes count from 0 in the order the module sends them, bits from 0 = least significant of the field's bytes taken
together. What no field and no checksum covers is unknown, and is kept as read.
"""

from __future__ import annotations

from enum import StrEnum, unique
from typing import Annotated

import msgspec

from asleft.model.step_more import Base

Count = Annotated[int, msgspec.Meta(ge=0)]
Words = Annotated[str, msgspec.Meta(min_length=1, max_length=2000)]


@unique
class OptionKind(StrEnum):
    """How the bits of an option read: yes or no, one of a list, a number, packed decimal digits, ASCII text."""

    FLAG = "flag"
    CHOICE = "choice"
    NUMBER = "number"
    DIGITS = "digits"
    TEXT = "text"


class Choice(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One allowed value and its words."""

    value: Count
    text: Words


class Translation(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A neighbour's value, and which value of our option it speaks for."""

    theirs: Count
    ours: Count


class Neighbour(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where another module says the same.

    Attributes:
        module: its name. identifier, printed: as the source prints it.
        at: byte after the identifier. bit, bits: lowest bit, how many.
        means: its values; empty: the same as ours. A value not listed speaks for nothing.
    """

    module: Words
    identifier: Words
    printed: Base = Base.HEX
    at: Count = 0
    bit: Annotated[int, msgspec.Meta(ge=0, le=7)] = 0
    bits: Annotated[int, msgspec.Meta(ge=1, le=8)] = 1
    means: tuple[Translation, ...] = ()

    def value(self, data: bytes) -> int | None:
        """What the neighbour's bytes say of our option; None: nothing."""
        if self.at >= len(data):
            return None
        theirs = data[self.at] >> self.bit & (1 << self.bits) - 1
        if not self.means:
            return theirs
        return next((m.ours for m in self.means if m.theirs == theirs), None)


class Option(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One option.

    Attributes:
        id: slug. name: words. kind: how it reads.
        at, length: first byte, bytes. bit, bits: lowest bit, how many; 0 bits: whole bytes.
        big_endian: high byte first.
        choices: allowed values of a choice; words of a flag, where they are not no and yes.
        low, high: limits of a number, in its raw value. factor, offset, unit: value = raw · factor + offset.
        letters: characters a text may hold; empty: digits and capital letters.
        neighbours: other modules that say the same.
        test: how a person sees that it works; empty: nothing to see.
        source: where in the source it stands.
    """

    id: Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
    name: Words
    kind: OptionKind
    at: Count
    length: Annotated[int, msgspec.Meta(ge=1)] = 1
    bit: Count = 0
    bits: Count = 0
    big_endian: bool = True
    choices: tuple[Choice, ...] = ()
    low: int | None = None
    high: int | None = None
    factor: float = 1.0
    offset: float = 0.0
    unit: str = ""
    letters: str = ""
    neighbours: tuple[Neighbour, ...] = ()
    test: str = ""
    source: str = ""

    @property
    def width(self) -> int:
        """Bits it has."""
        return self.bits or 8 * self.length

    @property
    def mask(self) -> int:
        """Its bits among those of its bytes."""
        return (1 << self.width) - 1 << self.bit


@unique
class CheckKind(StrEnum):
    """Ways a coding checks itself. ``sum``: of the bytes; ``crc``: by its published parameters."""

    SUM = "sum"
    CRC = "crc"


class Check(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One checksum over bytes ``first`` to ``last``, both included, stored from ``at`` on.

    Attributes:
        invert: sum only, all bits turned.
        width, poly, init, refin, refout, xorout, check: parameters of a CRC as catalogues publish them;
            ``check`` is its value over the ASCII digits 123456789, and proves the parameters.
    """

    kind: CheckKind
    first: Count
    last: Count
    at: Count
    length: Annotated[int, msgspec.Meta(ge=1, le=8)] = 1
    invert: bool = False
    big_endian: bool = True
    width: Count = 0
    poly: Count = 0
    init: Count = 0
    refin: bool = False
    refout: bool = False
    xorout: Count = 0
    check: Count = 0


class Term(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An option has one of these values."""

    option: Words
    values: Annotated[tuple[Count, ...], msgspec.Meta(min_length=1)]


class Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where all of ``when`` hold, all of ``needs`` must hold."""

    id: Words
    text: Words
    needs: Annotated[tuple[Term, ...], msgspec.Meta(min_length=1)]
    when: tuple[Term, ...] = ()
    source: str = ""


class Numbers(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Part and software number that a layout is for, both exactly as the module says."""

    part_number: Words
    software_number: Words


class Layout(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The coding of one kind of module.

    Attributes:
        id, name, revision: as procedures. module: its name.
        source: document, edition and page.
        numbers: of the modules it is for; for no other.
        identifier, printed: data identifier as the source prints it.
        length: bytes. blank: byte that fills a new module's coding; None: the source does not say.
    """

    id: Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
    name: Words
    revision: Annotated[int, msgspec.Meta(ge=1)]
    module: Words
    source: Words
    numbers: Annotated[tuple[Numbers, ...], msgspec.Meta(min_length=1)]
    identifier: Words
    length: Annotated[int, msgspec.Meta(ge=1, le=4000)]
    options: Annotated[tuple[Option, ...], msgspec.Meta(min_length=1)]
    printed: Base = Base.HEX
    blank: Annotated[int, msgspec.Meta(ge=0, le=255)] | None = None
    checks: tuple[Check, ...] = ()
    rules: tuple[Rule, ...] = ()

    def option(self, option_id: str) -> Option | None:
        """The option with this id."""
        return next((o for o in self.options if o.id == option_id), None)

    def is_for(self, part_number: str, software_number: str) -> bool:
        """Whether it is for a module with exactly these numbers."""
        return any(n.part_number == part_number and n.software_number == software_number for n in self.numbers)

    def is_blank(self, data: bytes) -> bool:
        """Whether a coding is a new module's: nothing but the filling byte."""
        return self.blank is not None and data == bytes((self.blank,)) * len(data)
