"""A scripted module on can-isotp as it comes, in any of its addressing modes, classic or CAN FD, and a bus for it."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable

import isotp

from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Bus, BusNode, Listener


class PlainBus:
    """Delivers every frame in the next turn of the loop; carries CAN FD.

    Attributes:
        fd_length: longest CAN FD frame that is to be sent, bytes; 0: classic.
        frames: everything that went by.
    """

    def __init__(self, fd_length: int = 0) -> None:
        self.fd_length = fd_length
        self.frames: list[CanFrame] = []
        self._nodes: list[tuple[object, Listener]] = []

    @property
    def origin(self) -> Origin:
        return Origin.BENCH

    def join(self, name: str, listener: Listener) -> BusNode:
        bus, entry = self, (object(), listener)

        class Node:
            def send(self, frame: CanFrame) -> None:
                bus.frames.append(frame)
                for other in [e for e in bus._nodes if e is not entry]:
                    asyncio.get_running_loop().call_soon(other[1], frame)

            def leave(self) -> None:
                bus._nodes.remove(entry)

        self._nodes.append(entry)
        return Node()


class StockModule:
    """Answers each request with what ``answer`` gives for it.

    Attributes:
        heard: requests, in order.
    """

    def __init__(self, bus: Bus, address: isotp.Address, answer: Callable[[bytes], bytes], *, fd: int = 0) -> None:
        self.heard: list[bytes] = []
        self._answer = answer
        self._inbox: deque[isotp.CanMessage] = deque()
        params: dict[str, object] = {"stmin": 0, "blocksize": 4, "tx_padding": 0xAA, "wait_func": lambda _s: None}
        if fd:
            params |= {"can_fd": True, "tx_data_length": fd, "tx_data_min_length": 8}
        self._node = bus.join("stock module", self._on_frame)
        self._logic = isotp.TransportLayerLogic(
            rxfn=lambda: self._inbox.popleft() if self._inbox else None,
            txfn=lambda m: self._node.send(CanFrame(m.arbitration_id, bytes(m.data), m.is_extended_id, m.is_fd)),
            address=address,
            params=params,
        )

    def _on_frame(self, frame: CanFrame) -> None:
        self._inbox.append(
            isotp.CanMessage(arbitration_id=frame.id, data=frame.data, extended_id=frame.extended, is_fd=frame.fd)
        )
        self._logic.process()
        while self._logic.available():
            request = bytes(self._logic.recv() or b"")
            self.heard.append(request)
            self._logic.send(self._answer(request))
            self._logic.process()
