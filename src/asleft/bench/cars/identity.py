"""Identification of bench cars and their modules: VINs with a valid check digit, part, software and serial numbers.

All invented. The VINs begin with EZ: from memory a pair that is assigned to no country, so to no maker.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..identifiers import Identifier, Write, text
from ..physics.noise import Noise
from ..service import Condition

_LETTERS = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True))
_VALUES = _LETTERS | {str(digit): digit for digit in range(10)}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def check_digit(vin: str) -> str:
    """The character that belongs in position 9 of a 17-character VIN.

    Raises: KeyError: a character that no VIN holds.
    Source: 49 CFR 565.15(c).
    """
    rest = sum(_VALUES[letter] * weight for letter, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def make_vin(model: str, year: str, number: int, make: str = "EZA") -> str:
    """A VIN of a fictional make: model, check digit, year, plant, number.

    EZA is Aldra, EZB Brevik, EZD Dunmere, EZT Tarnbeck.
    """
    draft = f"{make}{model}0{year}G{number:06d}"
    return f"{draft[:8]}{check_digit(draft)}{draft[9:]}"


@dataclass(frozen=True)
class Identity:
    """What one module says of itself.

    Attributes:
        part, hardware, software, version, serial: F187, F191, F188, F189, F18C. supplier_version: F195. system: F197.
        made: F18B, as year, month, day in binary-coded decimal.
    """

    part: str
    hardware: str
    software: str
    version: str
    serial: str
    supplier_version: str
    system: str
    made: bytes


def draw_identity(chance: Noise, letters: str, number: int, system: str) -> Identity:
    """Identity of one module; ``letters`` and ``number`` say the kind, chance draws level and serial number."""
    level = chance.whole(3, 7)
    return Identity(
        part=f"{letters}-{number:04d}-{chance.whole(1, 3)}",
        hardware=f"{letters}-H{number % 1000:03d}",
        software=f"{letters}SW{number:04d}",
        version=f"{level:02d}.{chance.whole(10, 49)}",
        serial=f"{chance.whole(10_000_000, 99_999_999)}",
        supplier_version=f"R{level}.{chance.whole(0, 9)}",
        system=system,
        made=bytes([0x19, chance.whole(1, 9), 0x10 + chance.whole(0, 9)]),
    )


def identification(identity: Identity, vin: str, *, vin_conditions: tuple[Condition, ...] = ()) -> list[Identifier]:
    """The standardised identifiers of a module (ISO 14229-1 annex C; names recalled).

    The VIN can be written in the extended session with access open, as for a replacement module.
    """
    guarded = Write(level=0x01, conditions=vin_conditions, takes_s=0.12)
    return [
        text(0xF187, "spare part number", identity.part),
        text(0xF188, "software number", identity.software),
        text(0xF189, "software version", identity.version),
        Identifier(0xF18B, "date of manufacture", initial=identity.made),
        text(0xF18C, "serial number", identity.serial),
        text(0xF190, "vehicle identification number", vin, guarded),
        text(0xF191, "hardware number", identity.hardware),
        text(0xF195, "supplier's software version", identity.supplier_version),
        text(0xF197, "system name", identity.system),
    ]
