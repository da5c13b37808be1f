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

from collections.abc import Sequence

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say

from .printed import tidy, two_bytes
from .procedure import IdentifierRow, Printed

_SERVICE, _START, _STOP, _RESULT = 0x31, 0x01, 0x02, 0x03


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
    return Identifier(two_bytes(typed, form), tidy(typed, form), form)


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
