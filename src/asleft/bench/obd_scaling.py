"""Physical values to the bytes of OBD parameters (PIDs), held at the ends of their range.

Source: SAE J1979 / ISO 15031-5 as public tables print them, recomputed against check values; written apart from the
decoder of the tool, so that one misreading cannot hide in both. Values are rounded to the nearest step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """raw = value / step + zero, big-endian unsigned in ``size`` bytes; ``unit`` is that of the value."""

    step: float
    unit: str
    size: int = 1
    zero: float = 0.0

    def encode(self, value: float) -> bytes:
        """The bytes of a value."""
        raw = min((1 << 8 * self.size) - 1, max(0, value / self.step + self.zero))
        return round(raw).to_bytes(self.size, "big")


_PERCENT = Scale(100 / 255, "%")
_TRIM = Scale(100 / 128, "%", zero=128)
_CELSIUS = Scale(1.0, "°C", zero=40)
_KPA = Scale(1.0, "kPa")
_SECONDS = Scale(1.0, "s", 2)
_MINUTES = Scale(1.0, "min", 2)
_KM = Scale(1.0, "km", 2)
_CATALYST = Scale(0.1, "°C", 2, zero=400)
_NARROW_SENSOR = Scale(0.005, "V")

SCALES: dict[int, Scale] = {
    0x04: _PERCENT,
    0x05: _CELSIUS,
    **dict.fromkeys((0x06, 0x07, 0x08, 0x09), _TRIM),
    0x0A: Scale(3.0, "kPa"),
    0x0B: _KPA,
    0x0C: Scale(0.25, "1/min", 2),
    0x0D: Scale(1.0, "km/h"),
    0x0E: Scale(0.5, "°", zero=128),
    0x0F: _CELSIUS,
    0x10: Scale(0.01, "g/s", 2),
    0x11: _PERCENT,
    0x1F: _SECONDS,
    0x21: _KM,
    0x22: Scale(0.079, "kPa", 2),
    0x23: Scale(10.0, "kPa", 2),
    0x2C: _PERCENT,
    0x2D: _TRIM,
    0x2E: _PERCENT,
    0x2F: _PERCENT,
    0x30: Scale(1.0, "1"),
    0x31: _KM,
    0x33: _KPA,
    **dict.fromkeys((0x3C, 0x3D, 0x3E, 0x3F), _CATALYST),
    0x42: Scale(0.001, "V", 2),
    0x43: Scale(100 / 255, "%", 2),
    0x44: Scale(2 / 65536, "1", 2),
    0x45: _PERCENT,
    0x46: _CELSIUS,
    **dict.fromkeys((0x47, 0x48, 0x49, 0x4A, 0x4B, 0x4C), _PERCENT),
    0x4D: _MINUTES,
    0x4E: _MINUTES,
    0x52: _PERCENT,
    0x59: Scale(10.0, "kPa", 2),
    0x5A: _PERCENT,
    0x5B: _PERCENT,
    0x5C: _CELSIUS,
    0x5E: Scale(0.05, "L/h", 2),
    0x61: Scale(1.0, "%", zero=125),
    0x62: Scale(1.0, "%", zero=125),
    0x63: Scale(1.0, "N m", 2),
}


def narrow_sensor(volts: float, trim_percent: float | None = None) -> bytes:
    """PIDs 14 to 1B: sensor voltage and its short-term trim; None: not used in trim (FF)."""
    return _NARROW_SENSOR.encode(volts) + (b"\xff" if trim_percent is None else _TRIM.encode(trim_percent))


def wide_sensor_current(lambda_ratio: float, milliampere: float) -> bytes:
    """PIDs 34 to 3B: equivalence ratio (air) and pump current, mA."""
    return SCALES[0x44].encode(lambda_ratio) + Scale(1 / 256, "mA", 2, zero=32768).encode(milliampere)


def encoder(pid: int) -> Callable[[float], bytes]:
    """How a PID's value becomes bytes. Raises KeyError: not a PID with one value; give its bytes as ``raw``."""
    return SCALES[pid].encode


def support_bitmap(known: set[int], first: int) -> bytes:
    """4 bytes: which of the 32 numbers after ``first`` are in ``known``; the last says that more follow."""
    value = 0
    for offset in range(1, 33):
        number = first + offset
        more = offset == 32 and any(other > number for other in known)
        if number in known or more:
            value |= 1 << (32 - offset)
    return value.to_bytes(4, "big")
