"""Unit and scaling identifiers of service 06: how the two-byte test values become quantities.

Source: SAE J1979 / ISO 15031-5, annex E (unit and scaling identifiers); recalled, 0A from the check values; all agree
with an independent implementation. Identifiers that only we recall are left out.
Identifiers of 80 and more are signed.
"""

from __future__ import annotations

import msgspec


class Scaling(msgspec.Struct, frozen=True):
    """``value = raw * step + offset`` in ``unit``; raw is signed for identifiers from 80 on."""

    unit: str
    step: float
    offset: float = 0.0
    signed: bool = False

    def value(self, raw: bytes) -> float:
        """The quantity in two bytes, high byte first."""
        return int.from_bytes(raw, "big", signed=self.signed) * self.step + self.offset


_UNSIGNED: dict[int, tuple[str, float]] = {
    0x01: ("count", 1),
    0x02: ("count", 0.1),
    0x03: ("count", 0.01),
    0x04: ("count", 0.001),
    0x05: ("1", 0.0000305),
    0x06: ("1", 0.000305),
    0x07: ("rpm", 0.25),
    0x08: ("km/h", 0.01),
    0x09: ("km/h", 1),
    0x0A: ("mV", 0.122),
    0x0B: ("V", 0.001),
    0x0C: ("V", 0.01),
    0x0D: ("mA", 0.00390625),
    0x0E: ("A", 0.001),
    0x0F: ("A", 0.01),
    0x10: ("ms", 1),
    0x11: ("ms", 100),
    0x12: ("s", 1),
    0x13: ("Ω", 0.001),
    0x14: ("Ω", 1),
    0x15: ("Ω", 1000),
    0x17: ("kPa", 0.01),
    0x18: ("kPa", 0.0117),
    0x19: ("kPa", 0.079),
    0x1A: ("kPa", 1),
    0x1B: ("kPa", 10),
    0x1C: ("°", 0.01),
    0x1D: ("°", 0.5),
    0x1E: ("1", 0.0000305),
    0x1F: ("1", 0.05),
    0x20: ("1", 0.00390625),
    0x21: ("Hz", 0.001),
    0x22: ("Hz", 1),
    0x23: ("Hz", 1000),
    0x24: ("count", 1),
    0x25: ("km", 1),
    0x27: ("g/s", 0.01),
    0x28: ("g/s", 1),
    0x2B: ("count", 1),
    0x2E: ("1", 1),
    0x2F: ("%", 0.01),
    0x30: ("%", 0.001526),
    0x31: ("L", 0.001),
    0x33: ("1", 0.00024414),
    0x34: ("min", 1),
    0x35: ("ms", 10),
}
_SIGNED: dict[int, tuple[str, float]] = {
    0x81: ("count", 1),
    0x82: ("count", 0.1),
    0x83: ("count", 0.01),
    0x84: ("count", 0.001),
    0x85: ("1", 0.0000305),
    0x86: ("1", 0.000305),
    0x8A: ("mV", 0.122),
    0x8B: ("V", 0.001),
    0x8C: ("V", 0.01),
    0x8D: ("mA", 0.00390625),
    0x8E: ("A", 0.001),
    0x90: ("ms", 1),
    0x96: ("°C", 0.1),
    0x9C: ("°", 0.01),
    0x9D: ("°", 0.5),
    0xA8: ("g/s", 1),
    0xAF: ("%", 0.01),
    0xB0: ("%", 0.003052),
    0xFD: ("kPa", 0.001),
    0xFE: ("Pa", 0.25),
}

_WITH_OFFSET: dict[int, Scaling] = {0x16: Scaling("°C", 0.1, -40.0), 0x39: Scaling("%", 0.01, -327.68)}

#: Scaling by identifier. One that is not here has no unit we know: the raw number is shown.
SCALINGS: dict[int, Scaling] = (
    {key: Scaling(unit, step) for key, (unit, step) in _UNSIGNED.items()}
    | {key: Scaling(unit, step, 0.0, True) for key, (unit, step) in _SIGNED.items()}
    | _WITH_OFFSET
)
