"""ISO-TP of bench modules: can-isotp's own logic, driven by callbacks of the Clock.

can-isotp reads the machine's clock in its timers; here its timers read the Clock port instead, and nothing polls: a
frame, a frame sent or a due timer makes it go on::

    node = IsoTpNode(bus, clock, TransportSettings(rx=0x7E0, tx=0x7E8, functional=(0x7DF,)), on_message=serve)
    node.send(bytes.fromhex("5003003201F4"))

Source: ISO 15765-2 as can-isotp 2.0.7 implements it; reserved separation times count as 127 ms (recalled).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Protocol, runtime_checkable

import isotp
from isotp.protocol import PDU

from asleft.model.errors import LinkError
from asleft.model.frame import CanFrame
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock, Timer

from .isotp_logic import TransportSettings, make_logic

__all__ = ["IsoTpNode", "TellsSent", "TransportSettings"]

_LONGEST_SINGLE = 7


@runtime_checkable
class TellsSent(Protocol):
    """A bus node that tells when a frame of its own is on the wire completely."""

    sent: Callable[[CanFrame], None] | None


class IsoTpNode:
    """One module's (or tester's) ISO-TP end on a bus.

    Args:
        bus, clock: where it lives.
        settings: addresses and parameters.
        on_message: called with (payload, functional) for each complete message.
        name: of the bus node.
        hears: looked at for each frame; while it gives False the node is deaf (asleep).
        on_error: called with can-isotp's error when a transfer breaks.
    """

    def __init__(
        self,
        bus: Bus,
        clock: Clock,
        settings: TransportSettings,
        on_message: Callable[[bytes, bool], None],
        *,
        name: str = "module",
        hears: Callable[[], bool] = lambda: True,
        on_error: Callable[[Exception], None] = lambda _error: None,
    ) -> None:
        self.settings = settings
        self._clock = clock
        self._on_message = on_message
        self._hears = hears
        self._on_error = on_error
        self._outbox: deque[bytes] = deque()
        self._inbox: deque[isotp.CanMessage] = deque()
        self._timer: Timer | None = None
        self._timer_s: float | None = None
        self._logic = make_logic(clock, settings, self._take, self._put_message, on_error)
        self._functional = frozenset(settings.functional)
        self.node = bus.join(name, self._on_frame)
        if isinstance(self.node, TellsSent):
            self._logic.paced = True
            self.node.sent = self._on_sent

    def send(self, payload: bytes, *, functional: bool = False) -> None:
        """Send a message of any length; functional only for testers, to the first functional identifier."""
        if functional:
            self.node.send(self._single(self.settings.functional[0], payload))
        elif len(payload) <= _LONGEST_SINGLE and not self.sending and not self._logic.held_back():
            self._put(self._single(self.settings.tx, payload))
        else:
            self._outbox.append(payload)
            self._go_on()

    def _single(self, identifier: int, payload: bytes) -> CanFrame:
        """A single frame; the only one that does not need can-isotp's state machine."""
        data = bytes([len(payload)]) + payload
        if self.settings.padding is not None:
            data = data.ljust(8, bytes([self.settings.padding]))
        return CanFrame(identifier, data, self.settings.extended)

    def ask_flow(self, stmin: int, block_size: int) -> None:
        """Separation time (raw byte) and block size of the flow control frames from now on."""
        self._logic.params.stmin = stmin
        self._logic.params.blocksize = block_size

    def stop(self) -> None:
        """Forget all transfers (asleep, restarted); stays on the bus."""
        self._logic.reset()
        self._logic.in_flight = 0
        self._inbox.clear()
        self._outbox.clear()
        self._set_timer(None)

    def leave(self) -> None:
        """Forget all transfers and leave the bus."""
        self.stop()
        self.node.leave()

    @property
    def sending(self) -> bool:
        """A message is on its way out."""
        return bool(self._outbox) or self._logic.transmitting()

    # -- driving ---------------------------------------------------------------------------------------------------

    def _on_frame(self, frame: CanFrame) -> None:
        mine = frame.id == self.settings.rx
        if not mine and frame.id not in self._functional:
            return
        if frame.extended != self.settings.extended or not self._hears():
            return
        message = isotp.CanMessage(arbitration_id=frame.id, data=_known_stmin(frame.data), extended_id=frame.extended)
        if not mine or (frame.data[:1] and frame.data[0] >> 4 == 0 and not self._logic.is_rx_active()):
            self._on_single(message, functional=not mine)
        else:
            self._inbox.append(message)
            self._go_on()

    def _on_single(self, message: isotp.CanMessage, *, functional: bool) -> None:
        """A single frame outside any transfer, read by can-isotp's frame class; others are not heard here."""
        try:
            pdu = PDU(message)
        except ValueError as error:
            self._on_error(error)
            return
        if pdu.type == PDU.Type.SINGLE_FRAME:
            self._on_message(bytes(pdu.data), functional)

    def _on_sent(self, _frame: CanFrame) -> None:
        if not self._logic.in_flight:
            return  # a broadcast of the same module
        self._logic.confirm()
        if self._outbox or self._logic.transmitting():
            self._go_on()
        else:
            self._set_timer(self._logic.due_s())

    def _go_on(self) -> None:
        if self._outbox and not self._logic.transmitting() and not self._logic.held_back():
            self._logic.send(self._outbox.popleft())
        self._logic.process()
        while self._logic.available():
            payload = self._logic.recv() or b""
            self._on_message(bytes(payload), False)
        self._set_timer(self._logic.due_s())

    def _set_timer(self, due_s: float | None) -> None:
        if due_s == self._timer_s:
            return
        if self._timer is not None:
            self._timer.cancel()
        self._timer_s = due_s
        self._timer = None if due_s is None else self._clock.call_at(due_s, self._on_timer)

    def _on_timer(self) -> None:
        self._timer = None
        self._timer_s = None
        self._go_on()

    def _take(self) -> isotp.CanMessage | None:
        return self._inbox.popleft() if self._inbox else None

    def _put_message(self, message: isotp.CanMessage) -> None:
        self._put(CanFrame(message.arbitration_id, bytes(message.data), message.is_extended_id))

    def _put(self, frame: CanFrame) -> None:
        try:
            self.node.send(frame)
        except LinkError as error:
            self._on_error(error)
            return
        if self._logic.paced:
            self._logic.in_flight += 1
            self._logic.put_s = self._clock.now()


def _known_stmin(data: bytes) -> bytes:
    """Flow control with a reserved separation time reads as 127 ms, as the standard asks; can-isotp would refuse it."""
    if len(data) >= 3 and data[0] >> 4 == 3 and (0x80 <= data[2] <= 0xF0 or data[2] >= 0xFA):
        return data[:2] + b"\x7f" + data[3:]
    return data
