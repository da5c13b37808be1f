"""Puts the bytes of a K-line together to messages, by their times: P3 and P4, and the fast start."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from .kwp_frames import size

#: Low, and then high, of the fast start (ISO 14230-2, recalled), s.
WAKE_S = 0.025


class _Times(Protocol):
    @property
    def p3_min_s(self) -> float: ...
    @property
    def p4_max_s(self) -> float: ...
    @property
    def wake_tolerance_s(self) -> float: ...


class KwpReceiver:
    """One module's ear.

    Args:
        times: its limits.
        on_message: called with (whole message, whether the fast start came right before it).

    Attributes:
        byte_s: time of one byte, s.
        level_tolerance_s: of the 25 ms high of the start, s; that of the 25 ms low is the module's own.
        own_end_s: when the module's own last message ends or ended, s.
    """

    def __init__(self, times: _Times, on_message: Callable[[bytes, bool], None]) -> None:
        self.byte_s = 10 / 10_400
        self.level_tolerance_s = 0.001
        self.own_end_s = -1.0
        self._times = times
        self._on_message = on_message
        self._buffer = bytearray()
        self._last_end_s = -1.0
        self._skipping = False
        self._woken_s: float | None = None
        self._woken = False

    def woken(self, low_s: float, end_s: float) -> None:
        """A long low level ended."""
        right = abs(low_s - WAKE_S) <= self._times.wake_tolerance_s + 1e-9
        self._woken_s = end_s if right else None
        self._buffer.clear()
        self._skipping = False

    def on_byte(self, value: int, end_s: float, own: bool) -> None:
        """A byte ended."""
        if own:
            self._buffer.clear()
            return
        start_s = end_s - self.byte_s
        if self._last_end_s < 0 or start_s - self._last_end_s > self._times.p4_max_s + 1e-9:
            self._buffer.clear()
            self._skipping = False
        self._last_end_s = end_s
        if not self._buffer and not self._skipping:
            self._begin(start_s)
        if self._skipping:
            return
        self._buffer.append(value)
        whole = size(bytes(self._buffer))
        if whole is not None and len(self._buffer) >= whole:
            message = bytes(self._buffer)
            self._buffer.clear()
            self._on_message(message, self._woken)

    def _begin(self, start_s: float) -> None:
        """First byte of a message: in time after the start, not too early after our own answer."""
        self._woken = False
        if self._woken_s is not None:
            high_s = start_s - self._woken_s
            self._woken = abs(high_s - WAKE_S) <= self.level_tolerance_s + 1e-9
            self._woken_s = None
        elif self.own_end_s >= 0 and start_s - self.own_end_s < self._times.p3_min_s - 1e-9:
            self._skipping = True
