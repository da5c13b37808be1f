"""The petrol car's body module: thirty options in twenty bytes, blank when new, written only as a whole.

Bytes (invented): 0 bit 0 steering side, bits 4-7 body; 1 language; 2 bits 0-1 units, then day lamps, front
fog, rear fog, trailer socket, rain sensor, light sensor; 3 rear windows, folding mirrors, heated mirrors, heated seats,
locks when moving, sunroof, lamp washer; 4 bits 0-1 headlamps, 2 rear wiper, 4-5 wheels; 5 lamps after leaving, 0.5 s;
6-7 wheel circumference, mm; 8 cabin lamp, s; 9 speed it locks at, km/h; 10-12 build date and 13 paint group, packed
decimal; 14-17 type, ASCII; 18 bits 0-2 doors, 3 brakes module, 4 cluster; 19 CRC-8 of bytes 0 to 18.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..identifiers import Identifier, Write, cell, coding, live
from ..memory import Memory
from ..physics.noise import Noise

BODY_CODING, BODY_WRITES = 0x3B30, 0x4E03
#: Bytes of the coding without its check, and what fills a new module's.
BODY_LENGTH, BODY_BLANK = 19, 0xFF


@dataclass(frozen=True)
class Fitted:
    """What this car has, as several modules know it: row of the wheel table, language."""

    wheels: int = 0
    language: int = 0


def crc8(body: bytes) -> bytes:
    """CRC-8 bit by bit: polynomial 1D, begun with FF, turned at the end (SAE J1850; parameters recalled)."""
    value = 0xFF
    for byte in body:
        value ^= byte
        for _ in range(8):
            value = (value << 1 ^ 0x1D if value & 0x80 else value << 1) & 0xFF
    return bytes((value ^ 0xFF,))


def body_options(chance: Noise, wheels: int) -> tuple[bytes, Fitted]:
    """Coding of a new car of the model, without its check, from six draws."""
    draws = [chance.whole(0, 255) for _ in range(6)]
    language, kind, lamps = draws[0] % 6, 1 + draws[1] % 3, draws[2] % 3
    flags = draws[3] | (0x10 if draws[3] & 0x20 else 0x00) | (0x80 if draws[3] & 0x40 else 0x00)
    comfort = draws[4] & 0x7F | (0x40 if lamps == 1 else 0x00)
    wiper = 0x00 if kind == 2 else 0x04
    body = bytes((
        kind << 4 | draws[1] & 0x0C | draws[5] & 1,
        language,
        flags & 0xFC | 0x01,
        comfort,
        lamps | wiper | wheels << 4 | draws[4] & 0xC0,
        20 + draws[5] % 61,
        *(1900 + 25 * wheels).to_bytes(2, "big"),
        5 + draws[2] % 26,
        8 + draws[3] % 13,
        0x19, 0x04, 0x10 + draws[0] % 9,
        draws[1] % 10 << 4 | draws[2] % 10,
        *b"K16", 0x41 + draws[3] % 6,
        (3 if kind == 2 and draws[5] & 2 else 5) | 0x18 | draws[0] & 0xE0,
    ))  # fmt: skip
    return body, Fitted(wheels, language)


def broken(body: bytes) -> bool:
    """Whether options contradict each other: discharge lamps without washer, trailer socket without rear fog lamp, a
    saloon with a rear wiper, a rain sensor without the light sensor in the same part."""
    return (
        (body[4] & 3 == 1 and not body[3] & 0x40)
        or bool(body[2] & 0x20 and not body[2] & 0x10)
        or (body[0] >> 4 == 2 and bool(body[4] & 0x04))
        or bool(body[2] & 0x40 and not body[2] & 0x80)
    )


def body_coding(options: bytes, write: Write, memory: Memory) -> list[Identifier]:
    """Its coding, and how often it was written."""

    def refused(data: bytes) -> int | None:
        return 0x31 if broken(data[:-1]) else None

    rule = Write(write.sessions, write.level, write.conditions, refused, takes_s=write.takes_s)
    return [
        coding(BODY_CODING, "body options: 19 bytes; CRC-8", options, checksum=crc8, write=rule),
        live(
            BODY_WRITES,
            "coding: times written",
            lambda: min(memory.writes(cell(BODY_CODING)), 0xFFFF).to_bytes(2, "big"),
        ),
    ]


def put_new(rewrite: Callable[[str, int, Callable[[bytes], bytes]], None], chance: Noise, part: str) -> None:
    """A new module in the place of the old: blank, another serial number, perhaps another part number.

    Args: rewrite: of the car. part: its part number; empty: as the old one's.
    """
    blank = bytes((BODY_BLANK,)) * (BODY_LENGTH + 1)
    serial = f"{chance.whole(10_000_000, 99_999_999)}".encode()
    rewrite("body", BODY_CODING, lambda _old: blank)
    rewrite("body", 0xF18C, lambda _old: serial)
    if part:
        rewrite("body", 0xF187, lambda _old: part.encode("ascii"))
