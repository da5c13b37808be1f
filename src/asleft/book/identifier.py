"""A routine identifier as its source prints it: read in that base and form, refused when impossible, shown as bytes.

Sources print the same two bytes in many ways, and the wrong base is a wrong routine. So the form is said, never
guessed, and what will be sent is shown back::

    >>> parse("5A31h", Printed.HEX).request
    b'1\\x01Z1'
    >>> parse("23089", Printed.DECIMAL).text
    '5A31'

Source: ISO 14229-1 (RoutineControl: service 31, sub-function, two identifier bytes, high byte first).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import assert_never

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say

from .procedure import IdentifierRow, Printed

_SERVICE, _START, _STOP, _RESULT = 0x31, 0x01, 0x02, 0x03

#: One example a form, for messages and screens.
EXAMPLES: dict[Printed, str] = {
    Printed.HEX: "5A31, 0x5A31, 5A31h, $5A31 or 5A 31",
    Printed.HEX_BYTES: "5A-31, 5A 31 or 0x5A 0x31",
    Printed.DECIMAL: "23089",
    Printed.DECIMAL_BYTES: "90-49 or 90 49",
}

_HEX_MARKS = re.compile(r"^(?:(?:0[xX]|\$)(?P<marked>[0-9A-Fa-f]+)|(?P<bare>[0-9A-Fa-f]+)[hH]?)$")
_PAIR = re.compile(r"^(\S+?)(?:\s*[-/.,]\s*|\s+)(\S+)$")


class Identifier(msgspec.Struct, frozen=True):
    """A two-byte routine identifier.

    Attributes:
        value: 0 to 65535.
        printed: as typed, without outer spaces.
        form: base and form it was read in.
    """

    value: int
    printed: str
    form: Printed

    @property
    def text(self) -> str:
        """Four hexadecimal digits."""
        return f"{self.value:04X}"

    @property
    def request(self) -> bytes:
        """Bytes that start the routine: ``31 01`` and the identifier."""
        return bytes((_SERVICE, _START)) + self.value.to_bytes(2, "big")

    @property
    def stop_request(self) -> bytes:
        """Bytes that stop it."""
        return bytes((_SERVICE, _STOP)) + self.value.to_bytes(2, "big")

    @property
    def result_request(self) -> bytes:
        """Bytes that ask for its result."""
        return bytes((_SERVICE, _RESULT)) + self.value.to_bytes(2, "big")

    @property
    def shown(self) -> Message:
        """What a person compares with the page before anything is sent."""
        return say(
            "identifier.shown",
            "printed {printed} ({form}); will be sent as {bytes}",
            printed=self.printed,
            form=self.form.value.replace("-", " "),
            bytes=self.request.hex(" ").upper(),
        )


def parse(typed: str, form: Printed) -> Identifier:
    """Read an identifier in the base and form its source prints.

    Args: typed: as on the page; outer spaces are forgiven.
    Raises: InputError: identifier-impossible, with why.
    """
    text = " ".join(typed.split())
    if not text:
        raise _impossible("", form, "nothing was typed")
    if not text.isascii():
        odd = next(c for c in text if not c.isascii())
        raise _impossible(text, form, f"{odd!r} is no digit, though it may look like one")
    return Identifier(_value(text, form), text, form)


def _value(text: str, form: Printed) -> int:
    match form:
        case Printed.HEX:
            return _hex_word(text, form)
        case Printed.DECIMAL:
            return _decimal(text, form, 65535, text)
        case Printed.HEX_BYTES:
            high, low = _pair(text, form)
            return (_hex_byte(high, form, text) << 8) | _hex_byte(low, form, text)
        case Printed.DECIMAL_BYTES:
            high, low = _pair(text, form)
            return (_decimal(high, form, 255, text) << 8) | _decimal(low, form, 255, text)
        case _:
            assert_never(form)


def _hex_word(text: str, form: Printed) -> int:
    found = _HEX_MARKS.match(text.replace(" ", ""))
    if found is None:
        raise _impossible(text, form, _not_hex(text))
    digits = found["marked"] or found["bare"]
    if len(digits) != 4:
        raise _impossible(text, form, f"{len(digits)} digits; two bytes are four")
    return int(digits, 16)


def _not_hex(text: str) -> str:
    wrong = [c for c in text if c not in "0123456789abcdefABCDEFxXhH$ "]
    if wrong and wrong[0] in "OoIilL":
        return f"the letter {wrong[0]} is no hexadecimal digit; perhaps {'0' if wrong[0] in 'Oo' else '1'}"
    if wrong:
        return f"{wrong[0]!r} is no hexadecimal digit"
    return "the marks 0x, $ or h stand in the wrong place"


def _hex_byte(text: str, form: Printed, whole: str) -> int:
    found = _HEX_MARKS.match(text)
    if found is None:
        raise _impossible(whole, form, _not_hex(text))
    digits = found["marked"] or found["bare"]
    if len(digits) != 2:
        raise _impossible(whole, form, f"{text} is not two digits")
    return int(digits, 16)


def _decimal(text: str, form: Printed, most: int, whole: str) -> int:
    if not (text.isascii() and text.isdigit()):
        why = f"{text} holds more than the digits 0 to 9"
        if _HEX_MARKS.match(text):
            why += "; if the page prints it in hexadecimal, say so first"
        raise _impossible(whole, form, why)
    if len(text) > len(str(most)):
        raise _impossible(whole, form, f"{text} has more digits than {most}")
    value = int(text)
    if value > most:
        raise _impossible(whole, form, f"{value} is more than {most}")
    return value


def _pair(text: str, form: Printed) -> tuple[str, str]:
    found = _PAIR.match(text)
    if found is None:
        raise _impossible(text, form, "two bytes are expected, with a hyphen or a space between them")
    return found[1], found[2]


def _impossible(text: str, form: Printed, why: str) -> InputError:
    shown = f'"{text}" as {form.value.replace("-", " ")}: {why}; for example {EXAMPLES[form]}'
    return InputError(Code.IDENTIFIER_IMPOSSIBLE, shown)


class Choice(msgspec.Struct, frozen=True):
    """A row that fits exactly, and the identifier it gives."""

    row: IdentifierRow
    identifier: Identifier

    @property
    def shown(self) -> Message:
        """The source row, for the screen and the record."""
        return say(
            "identifier.row",
            "{row}: part {part}, software {software}, printed {printed}",
            row=self.row.row,
            part=self.row.part_number,
            software=self.row.software_number,
            printed=self.row.identifier,
        )


def choose(rows: Sequence[IdentifierRow], part_number: str, software_number: str, form: Printed) -> Choice:
    """The row for exactly this part and software number; nothing near is ever taken.

    Raises: InputError: no-exact-match, naming the nearest row and what differs; also when two rows contradict.
    """
    found = [r for r in rows if (r.part_number, r.software_number) == (part_number, software_number)]
    values = {parse(row.identifier, form).value for row in found}
    if len(values) == 1:
        return Choice(found[0], parse(found[0].identifier, form))
    if len(values) > 1:
        places = " and ".join(row.row for row in found)
        raise InputError(Code.NO_EXACT_MATCH, f"{places} give different identifiers for the same numbers")
    raise InputError(Code.NO_EXACT_MATCH, no_match(rows, part_number, software_number).text)


def no_match(rows: Sequence[IdentifierRow], part_number: str, software_number: str) -> Message:
    """The module's numbers, the nearest row, and what differs."""
    if not rows:
        return say("identifier.no-rows", "this procedure has no table of identifiers")
    near = nearest_row(rows, part_number, software_number)
    return say(
        "identifier.no-match",
        "the module says part {part}, software {software}; nearest is {row}: {differs}",
        part=part_number or "(nothing)",
        software=software_number or "(nothing)",
        row=near.row,
        differs=", ".join(differs(near, part_number, software_number)),
    )


def nearest_row(rows: Sequence[IdentifierRow], part_number: str, software_number: str) -> IdentifierRow:
    """The row most like the module's numbers, to be shown, never used. Args: rows: at least one."""
    from difflib import SequenceMatcher  # noqa: PLC0415 - only on the way to a message

    def likeness(row: IdentifierRow) -> float:
        part = SequenceMatcher(None, row.part_number, part_number).ratio()
        return part + SequenceMatcher(None, row.software_number, software_number).ratio()

    return max(rows, key=likeness)


def differs(row: IdentifierRow, part_number: str, software_number: str) -> tuple[str, ...]:
    """Which of the two numbers differ, and how."""
    pairs = (("part", row.part_number, part_number), ("software", row.software_number, software_number))
    return tuple(
        f"its {what} number is {theirs}, not {ours or '(nothing)'}" for what, theirs, ours in pairs if theirs != ours
    )
