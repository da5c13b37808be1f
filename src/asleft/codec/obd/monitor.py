"""Service 06 on CAN: results of the on-board monitors, each with its limits.

Source: ISO 15031-5 / SAE J1979, service 06 on CAN; recalled. Check values, section 2 (46 01 01 0A …).
"""

from __future__ import annotations

import msgspec

from asleft.codec.answer import AnswerMalformed, byte, expect, expect_length

from .bitmaps import BITMAP_IDS, supported
from .scaling import SCALINGS

_SIZE = 9


class MonitorTest(msgspec.Struct, frozen=True):
    """One test result.

    Attributes:
        monitor, test, scaling: identifiers on the wire.
        value, low, high: in ``unit``; raw numbers where the scaling is not known.
        unit: symbol, or ``raw`` when the scaling is not known.
        raw: the six bytes.
    """

    monitor: int
    test: int
    scaling: int
    value: float
    low: float
    high: float
    unit: str
    raw: bytes

    @property
    def within(self) -> bool:
        """The value lies within the module's own limits."""
        return self.low <= self.value <= self.high

    @property
    def margin(self) -> float | None:
        """Distance to the nearer limit as a share of the span; negative outside; None where the span is zero."""
        span = self.high - self.low
        return min(self.value - self.low, self.high - self.value) / span if span > 0 else None


def monitor_request(monitor: int) -> bytes:
    """Service 06 for one monitor (00, 20, 40 … ask which are supported)."""
    return bytes((0x06, byte(monitor, "monitor")))


def read_monitors_supported(reply: bytes, base: int) -> frozenset[int]:
    """Monitors supported, from the answer to 00, 20, 40 …"""
    if base not in BITMAP_IDS:
        raise ValueError(f"{base:02X} is no bitmap")
    return supported(base, expect(reply, bytes((0x46, base))))


def read_monitor(reply: bytes, monitor: int) -> tuple[MonitorTest, ...]:
    """All tests of one monitor.

    Raises: AnswerMalformed: another service or monitor, or a length that is no whole number of tests.
    """
    rest = expect(reply, b"\x46", _SIZE)
    if len(rest) % _SIZE:
        raise AnswerMalformed(reply, f"a test result has {_SIZE} bytes")
    return tuple(_read(reply, rest[i : i + _SIZE], monitor) for i in range(0, len(rest), _SIZE))


def _read(reply: bytes, item: bytes, monitor: int) -> MonitorTest:
    if item[0] != monitor:
        raise AnswerMalformed(reply, f"monitor {item[0]:02X} was not asked")
    raw = expect_length(reply, item[3:], 6)
    scaling = SCALINGS.get(item[2])
    if scaling is None:
        value, low, high = (float(int.from_bytes(raw[i : i + 2], "big")) for i in (0, 2, 4))
        unit = "raw"
    else:
        value, low, high = (scaling.value(raw[i : i + 2]) for i in (0, 2, 4))
        unit = scaling.unit
    return MonitorTest(item[0], item[1], item[2], value, low, high, unit, raw)
