"""Independent clients for bench cars: stock can-isotp under udsoncan's own client, in virtual time."""

from __future__ import annotations

from collections import deque

import isotp
import pytest
from udsoncan.connections import BaseConnection
from udsoncan.exceptions import TimeoutException

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import StepClock
from asleft.model.frame import CanFrame


class StockConnection(BaseConnection):
    """udsoncan connection on can-isotp's logic as it comes from its authors; waiting moves the bench's clock."""

    def __init__(
        self, bus: InLoopBus, clock: StepClock, request: int, response: int, *, extended: bool = False
    ) -> None:
        super().__init__("bench")
        self.clock = clock
        self.frames: deque[isotp.CanMessage] = deque()
        self.node = bus.join("stock tester", self._on_frame)
        mode = isotp.AddressingMode.Normal_29bits if extended else isotp.AddressingMode.Normal_11bits
        self.stack = isotp.TransportLayerLogic(
            rxfn=lambda: self.frames.popleft() if self.frames else None,
            txfn=lambda m: self.node.send(CanFrame(m.arbitration_id, bytes(m.data), m.is_extended_id)),
            address=isotp.Address(mode, txid=request, rxid=response),
            # its own timer is real time, which stands still here: what the module asks for is not waited for
            params={"stmin": 0, "blocksize": 4, "wait_func": lambda _s: None, "override_receiver_stmin": 0},
        )

    def _on_frame(self, frame: CanFrame) -> None:
        self.frames.append(isotp.CanMessage(arbitration_id=frame.id, data=frame.data, extended_id=frame.extended))
        self.stack.process()

    def open(self) -> StockConnection:
        return self

    def close(self) -> None:
        self.node.leave()

    def is_open(self) -> bool:
        return True

    def empty_rxqueue(self) -> None:
        self.stack.clear_rx_queue()

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:
        self.stack.send(payload)
        self.stack.process()

    def specific_wait_frame(self, timeout: float | None = None) -> bytes:
        if not self.clock.run_while(lambda: not self.stack.available(), timeout or 5.0):
            raise TimeoutException("no answer in virtual time")
        return bytes(self.stack.recv() or b"")


@pytest.fixture
def clock() -> StepClock:
    return StepClock()


@pytest.fixture
def bus(clock: StepClock) -> InLoopBus:
    return InLoopBus(clock)
