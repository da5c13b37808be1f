"""How long a classic CAN data frame is on the wire, in bits, exactly: CRC and stuff bits of these very bytes.

Source: ISO 11898-1 (frame layout, CRC-15, bit stuffing); recalled, and checked against the exact least and greatest
lengths over all identifiers and data. CAN FD is not modelled.
"""

from __future__ import annotations

from functools import lru_cache

_POLYNOMIAL = 0x4599
#: CRC delimiter, ACK slot and delimiter, 7 bits end of frame: never stuffed.
_TAIL_BITS = 10
#: Intermission between frames.
INTERFRAME_BITS = 3


def _crc_table() -> tuple[int, ...]:
    table: list[int] = []
    for byte in range(256):
        register = byte << 7
        for _ in range(8):
            register = ((register << 1) ^ _POLYNOMIAL if register & 0x4000 else register << 1) & 0x7FFF
        table.append(register)
    return tuple(table)


def _after_bit(state: int, bit: int) -> tuple[int, int]:
    """One bit more. State = last bit * 8 + run length; gives the new state and 1 when a stuff bit was inserted."""
    run = (state & 7) + 1 if state >> 3 == bit else 1
    if run == 5:
        return (1 - bit) << 3 | 1, 1
    return bit << 3 | run, 0


def _stuff_table() -> list[list[tuple[int, int]]]:
    table: list[list[tuple[int, int]]] = []
    for state in range(16):
        row: list[tuple[int, int]] = []
        for byte in range(256):
            now, stuffed = state, 0
            for shift in range(7, -1, -1):
                now, more = _after_bit(now, byte >> shift & 1)
                stuffed += more
            row.append((now, stuffed))
        table.append(row)
    return table


_CRC = _crc_table()
_STUFF = _stuff_table()


def _body(identifier: int, data: bytes, *, extended: bool) -> tuple[int, int]:
    """Bits from start of frame to the last data bit, as a number, and how many."""
    if extended:
        head = (identifier >> 18) << 20 | 0b11 << 18 | identifier & 0x3FFFF  # base, SRR, IDE, extension
        value = (head << 7 | len(data)) << 8 * len(data)  # RTR, r1, r0 dominant, then the length
        return value | int.from_bytes(data, "big"), 39 + 8 * len(data)
    value = (identifier << 7 | len(data)) << 8 * len(data)
    return value | int.from_bytes(data, "big"), 19 + 8 * len(data)


def crc15(identifier: int, data: bytes, *, extended: bool = False) -> int:
    """CRC sequence of a data frame: polynomial 4599, initial value 0, over start of frame to data."""
    value, bits = _body(identifier, data, extended=extended)
    register = 0
    for byte in value.to_bytes((bits + 7) // 8, "big"):
        register = (register << 8 & 0x7FFF) ^ _CRC[register >> 7 ^ byte]
    return register


def stuff_bits(identifier: int, data: bytes, *, extended: bool = False) -> int:
    """Number of stuff bits from start of frame to the end of the CRC sequence."""
    value, bits = _body(identifier, data, extended=extended)
    value = value << 15 | crc15(identifier, data, extended=extended)
    bits += 15
    state, stuffed = 1 << 3, 0  # recessive bus before the frame does not count: run 0
    for shift in range(bits - 1, bits - 1 - bits % 8, -1):
        state, more = _after_bit(state, value >> shift & 1)
        stuffed += more
    for byte in (value & (1 << bits - bits % 8) - 1).to_bytes(bits // 8, "big"):
        state, more = _STUFF[state][byte]
        stuffed += more
    return stuffed


@lru_cache(maxsize=8192)
def frame_bits(identifier: int, data: bytes, *, extended: bool = False) -> int:
    """Bit times from start of frame to the end of the intermission (3 bits).

    Args: identifier: 11 or 29 bits. data: 0 to 8 bytes. extended: 29-bit format.
    Returns: bits; divide by the bit rate for seconds.
    """
    bits = (39 if extended else 19) + 8 * len(data) + 15
    return bits + stuff_bits(identifier, data, extended=extended) + _TAIL_BITS + INTERFRAME_BITS
