"""A K-line on a serial port: bytes in and out, the low level of the start, our own echo told apart. Linux.

The start's 25 ms low is one byte 00 at 360 baud (start bit and eight data bits: nine low bits of 2.78 ms). The port is
the operating system's; baud rates that are no standard ones are set through termios2. Origin: vehicle, always.

How true the 25 ms are depends on port and driver and was measured on no hardware yet: see docs/links.md.
Source: ISO 14230-2 (recalled); termios2 as in Linux asm-generic/termbits.h.
"""

from __future__ import annotations

import asyncio
import os
import struct
import sys
from collections import deque
from collections.abc import Callable

from asleft.model.errors import Code, LinkError
from asleft.model.origin import Origin
from asleft.ports.clock import Clock

from .abilities import LossListener, Stop
from .fanout import Fanout

BAUD = 10_400
_LOW_BAUD = 360
_LOW_BITS = 9
_BYTE_BITS = 10
_LOW_S = 0.025

_TERMIOS2 = struct.Struct("4I20s2I")
_TCGETS2, _TCSETS2 = 0x802C542A, 0x402C542B
_CBAUD, _BOTHER = 0o010017, 0o010000
_CS8, _CREAD, _CLOCAL = 0o60, 0o200, 0o4000


class SerialNode:
    """The tester's place on a serial K-line."""

    def __init__(self, line: SerialLine, on_byte: Callable[[int, float, bool], None]) -> None:
        self.on_byte = on_byte
        self._line = line

    def send(self, data: bytes, gap_s: float = 0.0) -> float:
        """Send bytes with a gap between them; gives when the last one should end, s."""
        return self._line.put(data, gap_s)

    def pull_low(self, seconds: float) -> float:
        """Hold the line low for 25 ms; gives the end, s. Raises LinkError: another length cannot be made."""
        return self._line.low(seconds)

    def leave(self) -> None:
        """Stop hearing and sending."""
        self._line.remove(self)


class SerialLine:
    """The Line of `kline` on a serial port.

    Args:
        path: device, such as ``/dev/ttyUSB0``.
        clock: real time.
        baud: of the bytes.
    """

    def __init__(self, path: str, clock: Clock, baud: int = BAUD) -> None:
        self._path = path
        self._clock = clock
        self._baud = baud
        self._file = -1
        self._node: SerialNode | None = None
        self._echoes: deque[bool] = deque()  # what we wrote and did not hear back yet: a byte, or the low level
        self._free_s = 0.0
        self._loss: LinkError | None = None
        self._lost: Fanout[LinkError] = Fanout()

    @property
    def origin(self) -> Origin:
        """Vehicle."""
        return Origin.VEHICLE

    async def open(self) -> None:
        """Open the port. Raises LinkError (no-bus): no such port, no rights, or not on Linux."""
        if self._file >= 0:
            return
        if not sys.platform.startswith("linux"):
            raise LinkError(Code.NO_BUS, "a K-line on a serial port works on Linux only so far", self._path)
        try:
            self._file = os.open(self._path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            self._set_baud(self._baud)
        except OSError as error:
            self._shut()
            raise LinkError(Code.NO_BUS, str(error), self._path) from error
        self._loss = None
        asyncio.get_running_loop().add_reader(self._file, self._readable)

    async def close(self) -> None:
        """Give the port back; safe to call twice."""
        if self._file >= 0:
            asyncio.get_running_loop().remove_reader(self._file)
        self._shut()

    def join(
        self, name: str, on_byte: Callable[[int, float, bool], None], on_low: Callable[[float], None]
    ) -> SerialNode:
        """Take part; one participant only. A serial port shows no levels: ``on_low`` is never called."""
        del name, on_low
        self._node = SerialNode(self, on_byte)
        return self._node

    def remove(self, node: SerialNode) -> None:
        """Take it away."""
        if self._node is node:
            self._node = None

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once when the port is gone."""
        if self._loss is not None:
            listener(self._loss)
        return self._lost.add(listener)

    def put(self, data: bytes, gap_s: float) -> float:
        """Write bytes one by one, ``gap_s`` apart; gives when the last one should end, s."""
        byte_s = _BYTE_BITS / self._baud
        start_s = max(self._clock.now(), self._free_s)
        for value in data:
            self._clock.call_at(start_s, lambda value=value: self._write(value))
            start_s += byte_s + gap_s
        self._free_s = start_s
        return start_s - gap_s

    def low(self, seconds: float) -> float:
        """One byte 00 at 360 baud."""
        if abs(seconds - _LOW_S) > 1e-6:
            raise LinkError(Code.FRAME_INVALID, f"{seconds} s low cannot be made on a serial port", self._path)
        self._set_baud(_LOW_BAUD)
        self._write(0x00, is_level=True)
        end_s = self._clock.now() + _LOW_BITS / _LOW_BAUD
        stop_bit_s = 1 / _LOW_BAUD
        self._clock.call_at(end_s + stop_bit_s, lambda: self._set_baud(self._baud))
        self._free_s = end_s
        return end_s

    # -- the port --------------------------------------------------------------------------------------------------

    def _write(self, value: int, *, is_level: bool = False) -> None:
        if self._file < 0:
            return
        try:
            os.write(self._file, bytes((value,)))
            self._echoes.append(is_level)
        except OSError as error:
            self._on_loss(str(error))

    def _readable(self) -> None:
        try:
            data = os.read(self._file, 256)
        except BlockingIOError:
            return
        except OSError as error:
            self._on_loss(str(error))
            return
        now_s = self._clock.now()
        for value in data:
            own = bool(self._echoes)  # one wire: what comes while we send is our own echo, whatever it looks like
            is_level = own and self._echoes.popleft()
            if self._node is not None and not is_level:
                self._node.on_byte(value, now_s, own)

    def _set_baud(self, baud: int) -> None:
        import fcntl  # noqa: PLC0415 - not there on every system

        if self._file < 0:
            return
        try:
            raw = fcntl.ioctl(self._file, _TCGETS2, bytes(_TERMIOS2.size))
            _, _, cflag, _, line_and_chars, _, _ = _TERMIOS2.unpack(raw)
            cflag = (cflag & ~_CBAUD & ~0o60 & ~0o400 & ~0o100) | _BOTHER | _CS8 | _CREAD | _CLOCAL
            fcntl.ioctl(self._file, _TCSETS2, _TERMIOS2.pack(0, 0, cflag, 0, line_and_chars, baud, baud))
        except OSError as error:
            self._on_loss(str(error))

    def _shut(self) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
        self._echoes.clear()

    def _on_loss(self, why: str) -> None:
        if self._loss is None:
            self._loss = LinkError(Code.LINK_LOST, why, self._path)
            self._lost(self._loss)
