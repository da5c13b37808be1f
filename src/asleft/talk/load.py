"""How full the bus is for one module, as far as it can be heard: an estimate from the frames of the last moments.

A module's answer waits only for frames that win arbitration against it, so only those count.

Source: bits of a data frame without stuffing, 47 + 8 n (11 bit) or 67 + 8 n (29 bit), check values, section 4; stuffing
is taken as 5 % (an estimate, no source).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from asleft.model.frame import CanFrame

_STUFFING = 1.05
#: More than a second of a full bus at 500 kbit/s.
_KEPT = 8192


#: A CAN FD frame's data phase is taken as four times as fast, 2 Mbit/s beside 500 kbit/s (common practice, no source),
#: with about so many bits of its own besides the data (an estimate, no source).
_FD_TIMES = 4
_FD_CHECK = 20
#: The fullness is told about so often while frames go, s.
_WINDOW_S = 0.01


class BusLoad:
    """Frames heard and sent lately.

    Args: bitrate: bit/s; 500 000, the usual one of OBD, where the link does not say it.

    Attributes:
        on_window: told the share of the bus time used, about every 10 ms while frames go.
    """

    def __init__(self, bitrate: int) -> None:
        self.on_window: Callable[[float], None] | None = None
        self._bitrate = bitrate
        self._window_s = 0.0
        self._window_bits = 0
        self._recent: deque[tuple[float, CanFrame]] = deque(maxlen=_KEPT)

    def add(self, frame: CanFrame, time_s: float) -> None:
        """One frame was on the bus."""
        self._recent.append((time_s, frame))
        self._window_bits += _bits(frame)
        passed_s = time_s - self._window_s
        if passed_s >= _WINDOW_S and self.on_window is not None:
            share = self._window_bits * _STUFFING / self._bitrate / passed_s
            self._window_s, self._window_bits = time_s, 0
            self.on_window(share)

    def share_above(self, identifier: int, since_s: float, now_s: float, *, extended: bool) -> float:
        """Share of the bus time since ``since_s`` that was taken by frames which win against ``identifier``."""
        limit = rank(identifier, extended=extended)
        bits = 0
        for time_s, frame in reversed(self._recent):
            if time_s < since_s:
                break
            if rank(frame.id, extended=frame.extended) < limit:
                bits += _bits(frame)
        return bits * _STUFFING / self._bitrate / (now_s - since_s) if now_s > since_s else 0.0


def _bits(frame: CanFrame) -> int:
    head = 67 if frame.extended else 47
    if frame.fd:  # data and check at the higher rate
        return head - _FD_CHECK + (8 * len(frame.data) + _FD_CHECK) // _FD_TIMES
    return head + 8 * len(frame.data)


def rank(identifier: int, *, extended: bool) -> int:
    """Order of arbitration, the lower wins; 11 bit before 29 bit of the same first eleven bits.

    Source: ISO 11898-1 (recalled).
    """
    if extended:
        return identifier >> 18 << 19 | 1 << 18 | identifier & 0x3FFFF
    return identifier << 19
