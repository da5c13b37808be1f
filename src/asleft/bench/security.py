"""Security access of a bench module: service 27 with seed, attempts and delay.

The key rule of a bench module is a toy of the bench (default: seed XOR a constant): it protects nothing and is no
real module's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def bench_key(seed: bytes) -> bytes:
    """The bench's default key: every byte of the seed XOR 5A."""
    return bytes(byte ^ 0x5A for byte in seed)


@dataclass(frozen=True)
class SecurityLevel:
    """One level.

    Attributes:
        level: odd sub-function that asks for the seed; the key comes with ``level + 1``.
        key: the key that opens it, from the seed.
        seed_length: bytes.
        attempts: wrong keys until locked (36), then asking answers 37.
        delay_s: lock-out time after the last wrong key, and after boot when it was locked, s.
        sessions: sessions that allow it (else 7F).
    """

    level: int = 0x01
    key: Callable[[bytes], bytes] = bench_key
    seed_length: int = 4
    attempts: int = 3
    delay_s: float = 10.0
    sessions: frozenset[int] = frozenset({0x02, 0x03})
