"""CAN interfaces through python-can: the one place where its threads are.

A reader thread hands frames over with ``call_soon_threadsafe``; a writer thread sends, because some drivers block.
Everything above stays in the event loop::

    bus = PythonCanBus("socketcan", "can0", 500_000, clock=real_clock())
    link = BusLink(bus, clock, name="can:socketcan:can0?bitrate=500000")

python-can is imported when the bus is opened. The origin is always *vehicle*: what answers on an interface may be a
car, and nothing here can say otherwise.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable, Mapping
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Listener
from asleft.ports.clock import Clock

from .abilities import LossListener, Stop
from .fanout import Fanout

if TYPE_CHECKING:
    import can

#: How long the reader waits at a stretch, and so how long closing takes at the most, s.
_READ_S = 0.1
#: How long a driver may take to give one frame out, s; and how often in a row it may fail to.
_SEND_S = 0.5
_SENDS_FAILED = 3
#: Frames that may wait for the writer.
_QUEUE = 4096
#: Interfaces whose receiver also hears what it sent itself (measured with python-can 4.6: see tests/contract).
_ECHOING = frozenset({"udp_multicast"})


class PythonCanNode:
    """One participant's place on a `PythonCanBus`.

    Attributes:
        sent: called in the event loop with each own frame when it is given to the driver, always before the answer.
    """

    def __init__(self, bus: PythonCanBus, name: str, listener: Listener) -> None:
        self.name = name
        self.listener = listener
        self.sent: Callable[[CanFrame], None] | None = None
        self._bus = bus

    def send(self, frame: CanFrame) -> None:
        """Queue a frame. Raises LinkError: link-lost, listen-only, frame-invalid."""
        self._bus.queue(self, frame)

    def leave(self) -> None:
        """Stop hearing and sending."""
        self._bus.remove(self)


class PythonCanBus:
    """The Bus port on one python-can interface.

    Args:
        interface: name of python-can's back end, such as ``socketcan``.
        channel: what that back end calls its channel.
        bitrate: bit/s; None where the interface has its own.
        clock: stamps frames on receipt, in the reader thread; real time.
        fd: open for CAN FD.
        listen_only: refuse to send; the back end is told through ``options``.
        options: more settings of that back end, by its own names.
    """

    def __init__(
        self,
        interface: str,
        channel: str,
        bitrate: int | None,
        clock: Clock,
        *,
        fd: bool = False,
        listen_only: bool = False,
        options: Mapping[str, Any] | None = None,
    ) -> None:
        self.interface, self.channel, self.bitrate = interface, channel, bitrate
        self.listen_only = listen_only
        self.error_frames = 0
        self._fd = fd
        self._options = dict(options or {})
        self._clock = clock
        self._can: can.BusABC | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._nodes: list[PythonCanNode] = []
        self._inbox: list[tuple[PythonCanNode | None, CanFrame]] = []
        self._inbox_lock = threading.Lock()
        self._outbox: SimpleQueue[tuple[PythonCanNode, CanFrame] | None] = SimpleQueue()
        self._echoes: deque[tuple[int, bytes]] = deque(maxlen=_QUEUE)  # what we sent and did not hear back yet
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self._loss: LinkError | None = None
        self._lost: Fanout[LinkError] = Fanout()

    @property
    def origin(self) -> Origin:
        """Vehicle."""
        return Origin.VEHICLE

    @property
    def fd_length(self) -> int:
        """Longest CAN FD frame, bytes; 0: opened for classic frames only."""
        return 64 if self._fd else 0

    # -- life ------------------------------------------------------------------------------------------------------

    async def open(self) -> None:
        """Open the interface and start its threads. Raises LinkError (no-bus) with the driver's words."""
        if self._can is not None:
            return
        self._loop = asyncio.get_running_loop()
        self._stopping.clear()
        self._loss = None
        self._can = await asyncio.to_thread(self._open_driver)
        for work, name in ((self._read, "reader"), (self._write, "writer")):
            thread = threading.Thread(target=work, name=f"can {self.interface} {name}", daemon=True)
            self._threads.append(thread)
            thread.start()

    async def close(self) -> None:
        """Stop the threads and give the interface back; safe to call twice."""
        driver, self._can = self._can, None
        if driver is None:
            return
        self._stopping.set()
        self._outbox.put(None)
        await asyncio.to_thread(self._join_and_shut, driver)
        self._inbox.clear()
        self._echoes.clear()
        self._outbox = SimpleQueue()

    def join(self, name: str, listener: Listener) -> PythonCanNode:
        """Take part: hears the interface and the other nodes on this object."""
        node = PythonCanNode(self, name, listener)
        self._nodes.append(node)
        return node

    def remove(self, node: PythonCanNode) -> None:
        """Take a node away."""
        if node in self._nodes:
            self._nodes.remove(node)

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once when the interface is gone."""
        if self._loss is not None:
            listener(self._loss)
        return self._lost.add(listener)

    # -- sending ---------------------------------------------------------------------------------------------------

    def queue(self, node: PythonCanNode, frame: CanFrame) -> None:
        """Give a frame to the writer. Raises LinkError: link-lost, listen-only, frame-invalid."""
        if self._loss is not None:
            raise self._loss
        if self._can is None or node not in self._nodes:
            raise LinkError(Code.LINK_LOST, "the interface is not open", self._where)
        if self.listen_only:
            raise LinkError(Code.LISTEN_ONLY, frame.text(), self._where)
        if frame.fd and not self._fd:
            raise LinkError(Code.FRAME_INVALID, "the interface was not opened for CAN FD", self._where)
        if self._outbox.qsize() >= _QUEUE:
            raise LinkError(Code.LINK_LOST, f"{_QUEUE} frames wait and none gets through", self._where)
        self._outbox.put((node, frame))

    def _write(self) -> None:
        import can  # noqa: PLC0415

        failed = 0
        while (entry := self._outbox.get()) is not None:
            node, frame = entry
            message = can.Message(
                arbitration_id=frame.id, data=frame.data, is_extended_id=frame.extended, is_fd=frame.fd
            )
            try:
                if (driver := self._can) is None:
                    return None
                if self.interface in _ECHOING:
                    self._echoes.append((frame.id, frame.data))
                self._put_in((node, CanFrame(frame.id, frame.data, frame.extended, frame.fd, self._clock.now())))
                driver.send(message, timeout=_SEND_S)
                failed = 0
            except can.CanTimeoutError as error:
                failed += 1
                if failed >= _SENDS_FAILED:
                    return self._give_up(f"nothing takes our frames: {error}")
                continue
            except (can.CanError, OSError, ValueError) as error:
                return self._give_up(str(error))
        return None

    # -- receiving -------------------------------------------------------------------------------------------------

    def _read(self) -> None:
        import can  # noqa: PLC0415

        while not self._stopping.is_set() and (driver := self._can) is not None:
            try:
                message = driver.recv(timeout=_READ_S)
            except (can.CanError, OSError, ValueError) as error:
                if not self._stopping.is_set():
                    self._give_up(str(error))
                return
            if message is not None:
                self._take(message)

    def _take(self, message: can.Message) -> None:
        if message.is_error_frame:
            self.error_frames += 1
            return
        if message.is_remote_frame:
            return
        data = bytes(message.data)
        if self._echoes and self._is_echo(message.arbitration_id, data):
            return
        try:
            frame = CanFrame(message.arbitration_id, data, message.is_extended_id, message.is_fd, self._clock.now())
        except LinkError:
            self.error_frames += 1
            return
        self._put_in((None, frame))

    def _put_in(self, entry: tuple[PythonCanNode | None, CanFrame]) -> None:
        """Frames in and out reach the event loop in one order: ours before the answer to it."""
        with self._inbox_lock:
            self._inbox.append(entry)
            first = len(self._inbox) == 1
        if first:
            self._tell(self._hand_over)

    def _is_echo(self, frame_id: int, data: bytes) -> bool:
        """Whether this is what we sent ourselves: echoes come back in order, some may be lost."""
        entry = (frame_id, data)
        if entry not in self._echoes:
            return False
        while self._echoes.popleft() != entry:
            pass
        return True

    def _hand_over(self) -> None:
        with self._inbox_lock:
            entries, self._inbox = self._inbox, []
        for sender, frame in entries:
            for node in tuple(self._nodes):
                if node is not sender:
                    node.listener(frame)
            if sender is not None and sender.sent is not None:
                sender.sent(frame)

    # -- both ------------------------------------------------------------------------------------------------------

    @property
    def _where(self) -> str:
        return f"{self.interface} {self.channel}"

    def _open_driver(self) -> can.BusABC:
        try:
            import can  # noqa: PLC0415

            settings: dict[str, Any] = {**self._options, **({"fd": True} if self._fd else {})}
            if self.bitrate is not None:
                settings["bitrate"] = self.bitrate
            return can.Bus(channel=self.channel, interface=self.interface, ignore_config=True, **settings)
        except Exception as error:  # a driver may raise anything, and all of it means: no bus
            raise LinkError(Code.NO_BUS, str(error) or type(error).__name__, self._where) from error

    def _join_and_shut(self, driver: can.BusABC) -> None:
        for thread in self._threads:
            thread.join(2.0)
        self._threads.clear()
        driver.shutdown()

    def _give_up(self, why: str) -> None:
        error = LinkError(Code.LINK_LOST, why, self._where)
        self._tell(lambda: self._on_loss(error))

    def _on_loss(self, error: LinkError) -> None:
        if self._loss is None:
            self._loss = error
            self._lost(error)

    def _tell(self, call: Callable[[], None]) -> None:
        loop = self._loop
        if loop is None:
            return
        try:
            loop.call_soon_threadsafe(call)
        except RuntimeError:
            self._stopping.set()  # the event loop has ended without closing the link: nobody is left to tell
