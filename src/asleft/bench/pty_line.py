"""A K-line offered to other programs as a serial port: a pseudo-terminal joined to a `KLine`.

A program opens ``path`` as any serial port, sets its baud and writes bytes; they go over the line with byte timing and
come back as the line's echo, followed by what the modules say. A pseudo-terminal has no levels: the fast start is a
byte 00 written at 360 baud, seen from the terminal's settings, which is 25 ms low. Bytes at another baud than the
line's arrive spoiled. Linux only.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import struct
import tty

from asleft.model.errors import Code, LinkError

from .kline import KLine

#: Bits of a byte 00 that are low: start bit and eight data bits.
_LOW_BITS = 9
#: Baud at or under which a byte is a level, not a byte.
_LEVEL_BAUD = 600
#: Receivers stand this error of the baud rate.
_BAUD_TOLERANCE = 0.04
#: struct termios2: four flag words, line, 19 control characters, two speeds; Linux asm-generic/termbits.h.
_TERMIOS2 = struct.Struct("4I20s2I")
_TCGETS2 = 0x802C542A


class PtyLine:
    """The serial port. Made inside a running event loop.

    Args: line: the wire it is joined to.
    Attributes: path: what other programs open.
    Raises: LinkError (no-bus): the machine gives no pseudo-terminal.
    """

    def __init__(self, line: KLine) -> None:
        self._line = line
        self._loop = asyncio.get_running_loop()
        try:
            self._master, slave = os.openpty()
        except OSError as error:
            raise LinkError(Code.NO_BUS, f"pseudo-terminal: {error}") from error
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self._slave = slave  # kept open: otherwise the master ends when a client closes
        os.set_blocking(self._master, False)
        self._node = line.join("serial port", self._on_byte)
        self._loop.add_reader(self._master, self._readable)

    def close(self) -> None:
        """Take the port away; safe to call twice."""
        if self._master >= 0:
            self._loop.remove_reader(self._master)
            self._node.leave()
            os.close(self._master)
            os.close(self._slave)
            self._master = -1

    def baud(self) -> int:
        """What the program on the other side has set, bit/s."""
        raw = fcntl.ioctl(self._master, _TCGETS2, bytes(_TERMIOS2.size))
        return int(_TERMIOS2.unpack(raw)[6])

    def _readable(self) -> None:
        try:
            data = os.read(self._master, 4096)
        except (BlockingIOError, OSError):
            return
        baud = self.baud()
        if baud <= _LEVEL_BAUD:
            for value in data:
                if value == 0x00:
                    self._node.pull_low(_LOW_BITS / baud)
                    self._echo(value)
            return
        off = abs(baud / self._line.baud - 1.0) > _BAUD_TOLERANCE
        self._node.send(bytes(_spoiled(value) for value in data) if off else data)

    def _on_byte(self, value: int, _end_s: float, own: bool) -> None:  # noqa: ARG002
        off = abs(self.baud() / self._line.baud - 1.0) > _BAUD_TOLERANCE
        self._echo(_spoiled(value) if off else value)

    def _echo(self, value: int) -> None:
        with contextlib.suppress(BlockingIOError):  # nobody reads: the terminal's buffer is full
            os.write(self._master, bytes([value]))


def _spoiled(value: int) -> int:
    """What a byte looks like at a wrong baud rate: something else."""
    return (value >> 1 | 0x80) ^ 0x1C
