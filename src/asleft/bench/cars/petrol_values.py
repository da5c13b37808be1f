"""Identifiers of the bench's own making in the petrol car's engine module: learned values, finer live data, coding."""

from __future__ import annotations

from collections.abc import Callable
from struct import pack

from ..identifiers import Identifier, Write, coding, live
from ..memory import LearnedValue, Memory
from ..service import refuse_if
from .petrol_side import EngineSide, checksum, raw_counts

#: Data identifiers of the bench's own making.
STOP_VALUE = 0x4C21
REST_VALUE = 0x4C22
IDLE_AIR_VALUE = 0x4C23
LONG_TRIM_VALUE = 0x4C24
PLATE_SENSORS = 0x4C25
IDLE_TARGET = 0x4C26
DRIVER_INPUTS = 0x4C27
WRITE_COUNTS = 0x4C28
CODING = 0x3B10


def engine_identifiers(side: EngineSide, memory: Memory) -> list[Identifier]:
    """Identifiers of the bench's own making: learned values with window and origin, finer live data, coding."""
    train, values = side.electronic, side.values
    stop = values.stop
    sensors: Callable[[], bytes] = lambda: pack(  # noqa: E731
        ">HH", raw_counts(train.throttle.sensor_a), raw_counts(train.throttle.sensor_b)
    )
    inputs: Callable[[], bytes] = lambda: bytes([side.brake(), "PRND".index(side.selector())])  # noqa: E731
    counts: Callable[[], bytes] = lambda: pack(  # noqa: E731
        ">HH", memory.writes(stop.name) & 0xFFFF, train.plate.cycles & 0xFFFF
    )
    return [
        live(STOP_VALUE, "learned lower stop: counts, 0.01 %, lowest and highest counts, learned", _stop_bytes(stop)),
        live(REST_VALUE, "learned spring rest: as the lower stop", _stop_bytes(values.rest)),
        live(IDLE_AIR_VALUE, "learned idle air: mg/s signed, lowest, highest", _air_bytes(values.idle_air)),
        live(LONG_TRIM_VALUE, "long-term trim: 0.01 % signed", lambda: pack(">h", round(values.long_trim.value * 1e4))),
        live(PLATE_SENSORS, "throttle sensors A and B: 12-bit counts", sensors),
        live(IDLE_TARGET, "idle target: 0.25 1/min", lambda: pack(">H", round(train.idle.target_rpm * 4.0))),
        live(DRIVER_INPUTS, "foot brake 0 or 1; selector 0 P, 1 R, 2 N, 3 D", inputs),
        live(WRITE_COUNTS, "writes of the lower stop; key-ons", counts),
        coding(
            CODING,
            "engine variant: market, gearbox, options; checksum",
            bytes([0x02, 0x11, 0x40]),
            checksum=checksum,
            write=Write(level=0x01, conditions=(refuse_if(lambda: train.running, 0x83),), takes_s=0.2),
        ),
    ]


def _stop_bytes(value: LearnedValue) -> Callable[[], bytes]:
    def encode() -> bytes:
        window = raw_counts(value.low), raw_counts(value.high)
        return pack(">HHHHB", raw_counts(value.value), round(value.value * 100.0), *window, value.learned)

    return encode


def _air_bytes(value: LearnedValue) -> Callable[[], bytes]:
    return lambda: pack(">hhh", *(round(part * 1e3) for part in (value.value, value.low, value.high)))
