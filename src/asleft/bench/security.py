"""Security access of a bench module: service 27 with seed, attempts and delay.

The key rule of a bench module is a toy of the bench (default: seed XOR a constant): it protects nothing and is no
real module's.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from .service import Conversation, Refuse, allowed, parse, positive


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


class SecurityService:
    """Service 27 for the levels of one module."""

    sids = (0x27,)

    def __init__(self, levels: Iterable[SecurityLevel], seed: int) -> None:
        self._levels = {level.level: level for level in levels}
        self._random = random.Random(seed)  # noqa: S311 - a simulation, repeatable on purpose
        self._seeds: dict[int, bytes] = {}
        self.wrong: dict[int, int] = dict.fromkeys(self._levels, 0)
        self._locked_until_s: dict[int, float] = {}

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Seed for an odd sub-function, opening for the even one after it."""
        parsed = parse(request)
        function = parsed.subfunction or 0
        level = self._levels.get(function if function % 2 else function - 1)
        if level is None:
            raise Refuse(0x12)
        allowed(level.sessions, None, talk)
        if talk.now() < self._locked_until_s.get(level.level, -1.0):
            raise Refuse(0x37)
        content = self._seed(level, talk) if function % 2 else self._open(level, parsed.data or b"", talk)
        return positive(parsed, bytes([function]) + content)

    def restarted(self, now_s: float) -> None:
        """Power-on: seeds are forgotten, a level that was locked waits its delay again."""
        self._seeds.clear()
        for number, level in self._levels.items():
            if self.wrong[number] >= level.attempts:
                self._locked_until_s[number] = now_s + level.delay_s

    def _seed(self, level: SecurityLevel, talk: Conversation) -> bytes:
        if level.level in talk.unlocked:
            return bytes(level.seed_length)
        if self.wrong[level.level] >= level.attempts:
            self.wrong[level.level] = level.attempts - 1
        seed = self._seeds.get(level.level)
        if seed is None:
            seed = bytes(self._random.randrange(1, 256) for _ in range(level.seed_length))
            self._seeds[level.level] = seed
        return seed

    def _open(self, level: SecurityLevel, key: bytes, talk: Conversation) -> bytes:
        seed = self._seeds.pop(level.level, None)
        if seed is None:
            raise Refuse(0x24)
        expected = level.key(seed)
        if len(key) != len(expected):
            self._seeds[level.level] = seed
            raise Refuse(0x13)
        if key == expected:
            self.wrong[level.level] = 0
            talk.unlocked.add(level.level)
            return b""
        self.wrong[level.level] += 1
        if self.wrong[level.level] >= level.attempts:
            self._locked_until_s[level.level] = talk.now() + level.delay_s
            raise Refuse(0x36)
        raise Refuse(0x35)
