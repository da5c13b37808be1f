"""A CAN bus in the event loop: bit-timed, arbitrated, with queues, load and faults.

Driven by callbacks of the Clock only; no task, no thread::

    bus = InLoopBus(clock, bitrate=500_000)
    tester = bus.join("tester", frames.append)
    tester.send(CanFrame(0x7DF, bytes.fromhex("0201050000000000")))

A frame takes exactly its stuffed length (`can_bits`); its receivers hear it at the end of its last bit before the
intermission. Of the heads of all nodes' queues the lowest identifier wins. Not modelled: CAN FD, remote frames,
acknowledgement (a node alone still gets its frames away), error-passive delays.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Listener
from asleft.ports.clock import Clock

from .bus_faults import Faults
from .can_bits import INTERFRAME_BITS, frame_bits

#: Superposed error flags, delimiter and intermission after a destroyed frame, bits (6 to 12 flag bits; 8 taken).
ERROR_BITS = 8 + 8 + INTERFRAME_BITS
#: Transmit error counter above which a node is bus off; 8 are added for each destroyed frame, 1 taken for a good one.
BUS_OFF_ABOVE = 255
#: A node that is bus off comes back after 128 times 11 recessive bits when `InLoopNode.recover` asks for it.
RECOVERY_BITS = 128 * 11


@dataclass
class BusCounts:
    """What happened on a bus since it was made."""

    frames: int = 0
    bits: int = 0
    destroyed: int = 0
    lost: int = 0


class InLoopNode:
    """One participant's place on an `InLoopBus`.

    Attributes:
        name: for messages and faults.
        sent: called with each own frame when it is on the wire completely.
        error_count: transmit error counter; above 255 the node is bus off.
        left: it took itself away for good.
    """

    def __init__(self, bus: InLoopBus, name: str, listener: Listener, queue_length: int) -> None:
        self.name = name
        self.sent: Callable[[CanFrame], None] | None = None
        self.error_count = 0
        self.left = False
        self.queue: deque[CanFrame] = deque()
        self.listener: Listener = listener
        self._bus = bus
        self._queue_length = queue_length

    @property
    def bus_off(self) -> bool:
        """Whether it took itself off the bus after too many errors."""
        return self.error_count > BUS_OFF_ABOVE

    def send(self, frame: CanFrame) -> None:
        """Queue a frame. Raises LinkError: bus off, left, queue full, or CAN FD."""
        if frame.fd:
            raise LinkError(Code.FRAME_INVALID, "this bench bus has no CAN FD", where=self.name)
        if self.left:
            raise LinkError(Code.LINK_LOST, "it has left the bus", where=self.name)
        if self.bus_off:
            raise LinkError(Code.LINK_LOST, "bus off", where=self.name)
        if len(self.queue) >= self._queue_length:
            raise LinkError(Code.LINK_LOST, f"{self._queue_length} frames wait and none gets through", where=self.name)
        self.queue.append(frame)
        self._bus.frame_waits(self)

    def recover(self) -> None:
        """Come back from bus off, after 128 times 11 bits. Harmless when it is not off."""
        self._bus.recover(self)

    def leave(self) -> None:
        """Stop hearing and sending; what waits is dropped."""
        self._bus.remove(self)


class InLoopBus:
    """The bus. Origin: bench.

    Args:
        clock: drives it.
        bitrate: bit/s, 10 000 to 1 000 000.
        faults: what goes wrong; none when None. May be changed while it runs.
        queue_length: frames a node can hold back.
    """

    def __init__(
        self, clock: Clock, bitrate: int = 500_000, faults: Faults | None = None, queue_length: int = 4096
    ) -> None:
        if not 10_000 <= bitrate <= 1_000_000:
            raise LinkError(Code.FRAME_INVALID, f"bit rate {bitrate}: classic CAN has 10 000 to 1 000 000 bit/s")
        self.clock = clock
        self.bitrate = bitrate
        self.faults = faults or Faults()
        self.counts = BusCounts()
        self._bit_s = 1.0 / bitrate
        self._queue_length = queue_length
        self._nodes: list[InLoopNode] = []
        self._waiting: dict[InLoopNode, None] = {}  # in order of asking
        self._busy = False
        self._free_at_s = 0.0

    @property
    def origin(self) -> Origin:
        """Bench."""
        return Origin.BENCH

    def join(self, name: str, listener: Listener) -> InLoopNode:
        """Take part; hears every frame of the others."""
        node = InLoopNode(self, name, listener, self._queue_length)
        self._nodes.append(node)
        return node

    def load(self, since_s: float, bits_then: int) -> float:
        """Share of the bus time used since ``since_s``, when `BusCounts.bits` was ``bits_then``."""
        passed_s = self.clock.now() - since_s
        return (self.counts.bits - bits_then) * self._bit_s / passed_s if passed_s > 0 else 0.0

    def node(self, name: str) -> InLoopNode:
        """The node of this name. Raises LinkError: there is none."""
        for node in self._nodes:
            if node.name == name:
                return node
        raise LinkError(Code.NO_BUS, f"no node {name!r}; there are {', '.join(n.name for n in self._nodes)}")

    def set_bus_off(self, name: str) -> None:
        """Fault: the node goes bus off now; what it holds back is dropped."""
        node = self.node(name)
        node.error_count = BUS_OFF_ABOVE + 1
        self._drop_queue(node)

    # -- for the nodes ---------------------------------------------------------------------------------------------

    def frame_waits(self, node: InLoopNode) -> None:
        """A node has a frame: arbitrate when the bus is free."""
        self._waiting[node] = None
        if not self._busy:
            self._busy = True
            self.clock.call_at(max(self.clock.now(), self._free_at_s), self._arbitrate)

    def recover(self, node: InLoopNode) -> None:
        """Clear the error counter after the recovery time."""

        def clear() -> None:
            node.error_count = 0

        if node.bus_off:
            self.clock.call_at(self.clock.now() + RECOVERY_BITS * self._bit_s, clear)

    def remove(self, node: InLoopNode) -> None:
        """Take a node away."""
        node.left = True
        if node in self._nodes:
            self._nodes.remove(node)
        self._drop_queue(node)

    # -- the wire --------------------------------------------------------------------------------------------------

    def _drop_queue(self, node: InLoopNode) -> None:
        node.queue.clear()
        self._waiting.pop(node, None)

    def _arbitrate(self) -> None:
        if not self._waiting:
            self._busy = False
            return
        winner = min(self._waiting, key=_priority) if len(self._waiting) > 1 else next(iter(self._waiting))
        frame = winner.queue.popleft()
        if not winner.queue:
            del self._waiting[winner]
        bits = frame_bits(frame.id, frame.data, extended=frame.extended)
        now = self.clock.now()
        destroyed_after = self.faults.destroy(frame, bits)
        if destroyed_after is None:
            end_s = now + (bits - INTERFRAME_BITS) * self._bit_s
            self._free_at_s = now + bits * self._bit_s
            self.counts.bits += bits
            self.clock.call_at(end_s, lambda: self._delivered(winner, frame, end_s))
        else:
            self._free_at_s = now + (destroyed_after + ERROR_BITS) * self._bit_s
            self.counts.bits += destroyed_after + ERROR_BITS
            self._destroyed(winner, frame)
            self.clock.call_at(self._free_at_s, self._arbitrate)

    def _destroyed(self, node: InLoopNode, frame: CanFrame) -> None:
        """An error frame broke it off: counted, and sent again unless the node is bus off now."""
        self.counts.destroyed += 1
        node.error_count += 8
        if node.bus_off:
            self._drop_queue(node)
        elif node in self._nodes:
            node.queue.appendleft(frame)
            self._waiting[node] = None

    def _delivered(self, sender: InLoopNode, frame: CanFrame, end_s: float) -> None:
        if self._waiting:
            self.clock.call_at(self._free_at_s, self._arbitrate)
        else:
            self._busy = False
        self.counts.frames += 1
        if sender.error_count and not sender.bus_off:
            sender.error_count -= 1
        stamped = CanFrame(frame.id, frame.data, frame.extended, False, end_s)
        for delay_s, heard in self.faults.deliveries(stamped):
            if delay_s <= 0.0:
                self._hear(sender, heard)
            else:
                self.clock.call_at(end_s + delay_s, lambda heard=heard: self._hear(sender, heard))
        if sender.sent is not None:
            sender.sent(frame)

    def _hear(self, sender: InLoopNode, frame: CanFrame) -> None:
        lossy = self.faults.lost > 0.0
        for node in tuple(self._nodes):
            if node is sender or node.error_count > BUS_OFF_ABOVE:
                continue
            if lossy and self.faults.loses(frame, node.name):
                self.counts.lost += 1
                continue
            node.listener(frame)


def _priority(node: InLoopNode) -> int:
    """Arbitration field as a number: the lower wins; 11-bit before 29-bit of the same base."""
    frame = node.queue[0]
    if frame.extended:
        return (frame.id >> 18) << 19 | 1 << 18 | frame.id & 0x3FFFF
    return frame.id << 19
