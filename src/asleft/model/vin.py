"""The vehicle identification number: characters, check digit, what a failed check means.

Source: 49 CFR 565.15(c) for the check digit. ISO 3779 has the 17 characters but no mandatory check digit (recalled),
so a failed check is a warning outside North America.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .errors import Code, InputError

_LETTERS = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9), strict=True)
)
_VALUES = _LETTERS | {str(d): d for d in range(10)}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


@unique
class VinCheck(StrEnum):
    """Result of the check digit. ``NOT_REQUIRED``: it fails, and this VIN's region does not ask for one.

    ``NOT_GIVEN``: there is no VIN, as in a recording of values.
    """

    VALID = "valid"
    FAILED = "failed"
    NOT_REQUIRED = "not-required"
    NOT_GIVEN = "not-given"


class Vin(msgspec.Struct, frozen=True):
    """A VIN of 17 permitted characters and the result of its check digit; empty when none was given."""

    text: str
    check: VinCheck

    @property
    def last_eight(self) -> str:
        """What stands on a redacted copy."""
        return self.text[-8:]


#: For recordings, which carry none.
NO_VIN = Vin("", VinCheck.NOT_GIVEN)


def check_character(text: str) -> str:
    """The check character that position 9 should have.

    Args: text: 17 permitted characters; position 9 has weight 0.
    Source: 49 CFR 565.15(c).
    """
    total = sum(_VALUES[c] * w for c, w in zip(text, _WEIGHTS, strict=True))
    remainder = total % 11
    return "X" if remainder == 10 else str(remainder)


def parse_vin(text: str) -> Vin:
    """Read a VIN as typed: spaces and case forgiven, nothing else.

    Raises: InputError: vin-length, vin-character (with the position).
    """
    vin = "".join(text.split()).upper()
    for position, character in enumerate(vin, 1):
        if character not in _VALUES:
            raise InputError(Code.VIN_CHARACTER, f"{character!r} at position {position}")
    if len(vin) != 17:
        raise InputError(Code.VIN_LENGTH, f"{len(vin)} given")
    if vin[8] == check_character(vin):
        return Vin(vin, VinCheck.VALID)
    north_america = vin[0] in "12345"
    return Vin(vin, VinCheck.FAILED if north_america else VinCheck.NOT_REQUIRED)
