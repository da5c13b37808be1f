"""A K-line in the event loop: one wire, half duplex, every byte timed; the start's low level too.

Callback driven::

    line = KLine(clock)                          # 10 400 baud
    tester = line.join("tester", heard.append)
    tester.pull_low(0.025)                       # fast start: 25 ms low, then 25 ms high
    tester.send(bytes.fromhex("8111F18104"))

Everybody hears every byte at its end, the sender too (its echo). Two who send at once spoil each other's bytes: the
wire is low when anyone pulls it low. Source: ISO 14230-1 and -2 (recalled, not checked against the text).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from asleft.model.origin import Origin
from asleft.ports.clock import Clock

from .line_faults import LineFaults

#: Start bit, eight data bits, stop bit.
BITS_PER_BYTE = 10
BAUD = 10_400
#: Half a bit: nearer than that, byte end and byte start are one moment.
_TOLERANCE_BITS = 0.5


@dataclass
class _Flight:
    """A byte on the wire."""

    sender: LineNode
    value: int
    end_s: float


class LineNode:
    """One participant's place on a K-line.

    Args:
        line: the wire.
        name: for messages.
        on_byte: called with (byte, its end in s on the clock, own) for each byte, own ones too.
        on_low: called with the length in s of each low level longer than a byte, when it ends.
    """

    def __init__(
        self,
        line: KLine,
        name: str,
        on_byte: Callable[[int, float, bool], None],
        on_low: Callable[[float], None],
    ) -> None:
        self.name = name
        self.on_byte = on_byte
        self.on_low = on_low
        self._line = line
        self._free_s = 0.0

    def send(self, data: bytes, gap_s: float = 0.0) -> float:
        """Send bytes with ``gap_s`` of high level between them, after what is queued; gives the end of the last, s."""
        start_s = max(self._line.clock.now(), self._free_s)
        for value in data:
            self._line.put(self, value, start_s)
            start_s += self._line.byte_s + gap_s
        self._free_s = start_s
        return start_s - gap_s

    def pull_low(self, seconds: float) -> float:
        """Hold the wire low for so long; gives the end, s."""
        start_s = max(self._line.clock.now(), self._free_s)
        self._free_s = start_s + seconds
        self._line.low(self, start_s, seconds)
        return self._free_s

    def leave(self) -> None:
        """Stop hearing; what was queued still goes out."""
        self._line.remove(self)


class KLine:
    """The wire. Origin: bench.

    Args:
        clock: drives it.
        baud: bit/s of all bytes.
        level_tolerance_s: how far off the high level of a start may be because of whoever makes it (a program on a
            serial port in real time), s.
        faults: what goes wrong; none when None. May be changed while it runs.
    """

    def __init__(
        self, clock: Clock, baud: int = BAUD, level_tolerance_s: float = 0.0, faults: LineFaults | None = None
    ) -> None:
        self.clock = clock
        self.baud = baud
        self.level_tolerance_s = level_tolerance_s
        self.faults = faults or LineFaults()
        self.byte_s = BITS_PER_BYTE / baud
        self._nodes: list[LineNode] = []
        self._flight: _Flight | None = None

    @property
    def origin(self) -> Origin:
        """Bench."""
        return Origin.BENCH

    def join(
        self,
        name: str,
        on_byte: Callable[[int, float, bool], None],
        on_low: Callable[[float], None] = lambda _seconds: None,
    ) -> LineNode:
        """Take part."""
        node = LineNode(self, name, on_byte, on_low)
        self._nodes.append(node)
        return node

    # -- for the nodes ---------------------------------------------------------------------------------------------

    def put(self, node: LineNode, value: int, start_s: float) -> None:
        """A byte begins at ``start_s``."""
        self.clock.call_at(start_s, lambda: self._begin(node, value, start_s))

    def low(self, node: LineNode, start_s: float, seconds: float) -> None:
        """The wire is low from ``start_s`` for ``seconds``."""

        def end() -> None:
            for other in tuple(self._nodes):
                if other is not node and not self.faults.shorted:
                    other.on_low(seconds)

        self.clock.call_at(start_s + seconds, end)

    def remove(self, node: LineNode) -> None:
        """Take a node away."""
        if node in self._nodes:
            self._nodes.remove(node)

    def _begin(self, node: LineNode, value: int, start_s: float) -> None:
        other = self._flight
        if other is not None and other.end_s - start_s > _TOLERANCE_BITS / self.baud:
            other.value &= value  # both pull: what is low anywhere is low; the second byte is not heard of its own
            return
        flight = _Flight(node, value, start_s + self.byte_s)
        self._flight = flight
        self.clock.call_at(flight.end_s, lambda: self._end(flight))

    def _end(self, flight: _Flight) -> None:
        if self._flight is flight:
            self._flight = None
        faults = self.faults
        if faults.shorted:
            return
        value, lost = faults.heard(flight.value), faults.loses()
        for node in tuple(self._nodes):
            own = node is flight.sender
            if own or not lost:
                node.on_byte(value, flight.end_s, own)
