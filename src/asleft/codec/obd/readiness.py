"""Readiness (parameters 01 and 41): lamp, number of codes, and which monitors have run.

Parameter 01 counts since codes were cleared, 41 within this driving cycle (lamp and count are not in 41).

Source: SAE J1979, parameters 01 and 41; bits from the check values, section 2 (recomputed there). On the wire a bit set
means *incomplete*.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from asleft.codec.answer import AnswerMalformed


@unique
class MonitorKind(StrEnum):
    """A monitor of the exhaust-relevant system."""

    MISFIRE = "misfire"
    FUEL = "fuel-system"
    COMPONENTS = "components"
    CATALYST = "catalyst"
    HEATED_CATALYST = "heated-catalyst"
    EVAPORATIVE = "evaporative-system"
    SECONDARY_AIR = "secondary-air"
    AIR_CONDITIONING = "air-conditioning-or-petrol-particulate-filter"
    OXYGEN_SENSOR = "oxygen-sensor"
    OXYGEN_HEATER = "oxygen-sensor-heater"
    EGR = "exhaust-gas-recirculation-or-valve-timing"
    HYDROCARBON_CATALYST = "hydrocarbon-catalyst"
    NOX = "nitrogen-oxide-aftertreatment"
    BOOST = "boost-pressure"
    EXHAUST_SENSOR = "exhaust-gas-sensor"
    PARTICULATE_FILTER = "particulate-filter"


class Readiness(msgspec.Struct, frozen=True):
    """What parameter 01 or 41 says.

    Attributes:
        lamp: the malfunction lamp is commanded on.
        codes: number of stored codes.
        compression: compression ignition; else spark ignition.
        complete: monitor to whether it is complete; unsupported ones are missing.
    """

    lamp: bool
    codes: int
    compression: bool
    complete: dict[MonitorKind, bool]

    @property
    def incomplete(self) -> tuple[MonitorKind, ...]:
        """Supported monitors not yet complete, in the standard's order."""
        return tuple(kind for kind, done in self.complete.items() if not done)


_CONTINUOUS = (MonitorKind.MISFIRE, MonitorKind.FUEL, MonitorKind.COMPONENTS)
_SPARK: dict[int, MonitorKind] = {
    0: MonitorKind.CATALYST,
    1: MonitorKind.HEATED_CATALYST,
    2: MonitorKind.EVAPORATIVE,
    3: MonitorKind.SECONDARY_AIR,
    4: MonitorKind.AIR_CONDITIONING,
    5: MonitorKind.OXYGEN_SENSOR,
    6: MonitorKind.OXYGEN_HEATER,
    7: MonitorKind.EGR,
}
_COMPRESSION: dict[int, MonitorKind] = {
    0: MonitorKind.HYDROCARBON_CATALYST,
    1: MonitorKind.NOX,
    3: MonitorKind.BOOST,
    5: MonitorKind.EXHAUST_SENSOR,
    6: MonitorKind.PARTICULATE_FILTER,
    7: MonitorKind.EGR,
}


def read_readiness(data: bytes) -> Readiness:
    """Take the four data bytes apart.

    Raises: AnswerMalformed: not four bytes.
    """
    if len(data) != 4:
        raise AnswerMalformed(data, "readiness has four bytes")
    a, b, c, d = data
    compression = bool(b & 0x08)
    complete = {kind: not b >> (4 + bit) & 1 for bit, kind in enumerate(_CONTINUOUS) if b >> bit & 1}
    layout = _COMPRESSION if compression else _SPARK
    complete |= {kind: not d >> bit & 1 for bit, kind in layout.items() if c >> bit & 1}
    return Readiness(bool(a & 0x80), a & 0x7F, compression, complete)
