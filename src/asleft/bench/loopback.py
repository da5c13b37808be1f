"""A CAN bus between processes of one machine: python-can's UDP multicast interface, kept on the loopback interface.

Works without any network. Every bench has its own port, so benches do not hear each other; other programs reach it
with ``can.Bus(interface="udp_multicast", channel="239.74.163.2", port=...)``. In real time only: no bit timing, no
arbitration; the kernel keeps the order.

One reader thread stands behind the adapter; frames are handed over to the event loop, listeners run there.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import socket
import struct
import threading
from collections import deque

import can
from can.interfaces.udp_multicast.bus import GeneralPurposeUdpMulticastBus, UdpMulticastBus

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Listener
from asleft.ports.clock import Clock

#: Multicast group of administrative scope (RFC 2365).
CHANNEL = "239.74.163.2"
_LOOPBACK = "127.0.0.1"
_READ_S = 0.2
#: Own frames come back from the kernel; those that did not within this time were lost, s.
_ECHO_S = 2.0


class _LoopbackMulticast(GeneralPurposeUdpMulticastBus):
    """python-can's multicast socket, joined and sending on the loopback interface only."""

    def _create_socket(self, address_family: socket.AddressFamily) -> socket.socket:
        link = socket.socket(address_family, socket.SOCK_DGRAM)
        try:
            link.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if hasattr(socket, "SO_REUSEPORT"):
                link.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
            link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
            link.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)
            link.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
            link.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(_LOOPBACK))
            link.bind(("", self.port))
            group = struct.pack("4s4s", socket.inet_aton(self.group), socket.inet_aton(_LOOPBACK))
            link.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group)
        except OSError:
            link.close()
            raise
        return link


class _LoopbackCan(UdpMulticastBus):
    """python-can's bus on that socket."""

    def __init__(self, channel: str, port: int) -> None:
        can.BusABC.__init__(self, channel)
        self._multicast = _LoopbackMulticast(channel, port, hop_limit=0)
        self._can_protocol = can.CanProtocol.CAN_20


def free_port() -> int:
    """A UDP port nobody uses now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((_LOOPBACK, 0))
        return int(probe.getsockname()[1])


class LoopbackNode:
    """One participant of this process."""

    def __init__(self, bus: LoopbackBus, name: str, listener: Listener) -> None:
        self.name = name
        self.listener = listener
        self._bus = bus

    def send(self, frame: CanFrame) -> None:
        """Send at once. Raises LinkError (link-lost): the bus was closed."""
        self._bus.transmit(self, frame)

    def leave(self) -> None:
        """Stop hearing and sending."""
        self._bus.remove(self)


class LoopbackBus:
    """The Bus port over loopback multicast. Origin: bench, whoever opens it.

    Made inside a running event loop.

    Args:
        channel: multicast group.
        port: UDP port of the bench.
        clock: stamps received frames.
        lost: share of frames this side does not hear, seeded by ``seed``: a bad adapter.

    Raises: LinkError (no-bus): the machine allows no multicast on loopback.
    """

    def __init__(self, channel: str, port: int, clock: Clock, *, lost: float = 0.0, seed: int = 0) -> None:
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._nodes: list[LoopbackNode] = []
        self._echoes: deque[tuple[float, CanFrame, LoopbackNode]] = deque()
        self._lost = lost
        self._random = random.Random(seed)  # noqa: S311 - a simulation, repeatable on purpose
        try:
            self._can = _LoopbackCan(channel, port)
        except (can.CanError, OSError) as error:
            raise LinkError(Code.NO_BUS, str(error), where=f"{channel}:{port}") from error
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._read, name=f"bench bus {port}", daemon=True)
        self._thread.start()

    @property
    def origin(self) -> Origin:
        """Bench."""
        return Origin.BENCH

    def join(self, name: str, listener: Listener) -> LoopbackNode:
        """Take part; hears frames of other processes and of the other nodes of this one."""
        node = LoopbackNode(self, name, listener)
        self._nodes.append(node)
        return node

    def close(self) -> None:
        """Stop the reader and close the socket; safe to call twice."""
        if not self._closed.is_set():
            self._closed.set()
            self._thread.join(timeout=5 * _READ_S)
            self._can.shutdown()

    # -- for the nodes ---------------------------------------------------------------------------------------------

    def transmit(self, node: LoopbackNode, frame: CanFrame) -> None:
        """Send a node's frame. Raises LinkError (link-lost)."""
        if self._closed.is_set() or node not in self._nodes:
            raise LinkError(Code.LINK_LOST, "the bench bus is closed", where=node.name)
        now_s = self._clock.now()
        while self._echoes and now_s - self._echoes[0][0] > _ECHO_S:
            self._echoes.popleft()
        self._echoes.append((now_s, frame, node))
        try:
            self._can.send(can.Message(arbitration_id=frame.id, data=frame.data, is_extended_id=frame.extended))
        except can.CanError as error:
            self._echoes.pop()
            raise LinkError(Code.LINK_LOST, str(error), where=node.name) from error

    def remove(self, node: LoopbackNode) -> None:
        """Take a node away."""
        if node in self._nodes:
            self._nodes.remove(node)

    # -- receiving -------------------------------------------------------------------------------------------------

    def _read(self) -> None:
        """Reader thread: hands frames to the event loop."""
        while not self._closed.is_set():
            try:
                message = self._can.recv(_READ_S)
            except (can.CanError, ValueError, OSError):
                if self._closed.is_set():
                    return
                continue  # a datagram that is no frame
            if message is None or message.is_error_frame or message.is_remote_frame:
                continue
            frame = CanFrame(
                message.arbitration_id, bytes(message.data), message.is_extended_id, time_s=self._clock.now()
            )
            with contextlib.suppress(RuntimeError):  # the loop was closed in between
                self._loop.call_soon_threadsafe(self._heard, frame)

    def _heard(self, frame: CanFrame) -> None:
        sender = self._own_sender(frame)
        if self._lost and self._random.random() < self._lost:
            return
        for node in tuple(self._nodes):
            if node is not sender:
                node.listener(frame)

    def _own_sender(self, frame: CanFrame) -> LoopbackNode | None:
        """The node of this process that sent it, if one did: own frames come back in the order sent."""
        for index, (_, sent, node) in enumerate(self._echoes):
            if sent.id == frame.id and sent.data == frame.data and sent.extended == frame.extended:
                del self._echoes[index]
                return node
        return None
