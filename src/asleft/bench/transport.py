"""ISO-TP of bench modules: can-isotp's own logic, driven by callbacks of the Clock.

can-isotp reads the machine's clock in its timers; here its timers read the Clock port instead, and nothing polls: a
frame, a frame sent or a due timer makes it go on::

    node = IsoTpNode(bus, clock, TransportSettings(rx=0x7E0, tx=0x7E8, functional=(0x7DF,)), on_message=serve)
    node.send(bytes.fromhex("5003003201F4"))

Source: ISO 15765-2 as can-isotp 2.0.7 implements it; reserved separation times count as 127 ms (recalled).
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty
from typing import Any, Protocol, cast, runtime_checkable

import isotp
from isotp.protocol import PDU, TransportLayerLogic
from isotp.tools import FiniteByteGenerator
from isotp.tools import Timer as IsoTpTimer

from asleft.model.errors import LinkError
from asleft.model.frame import CanFrame
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock, Timer

_LOGGER = "asleft.bench.isotp"
logging.getLogger(_LOGGER).addHandler(logging.NullHandler())
_LATE_NS = 1_000
_LONGEST_SINGLE = 7
#: Longest wait for an own frame to get away (N_As of ISO 15765-2, recalled), s.
_N_AS_S = 1.0


@runtime_checkable
class TellsSent(Protocol):
    """A bus node that tells when a frame of its own is on the wire completely."""

    sent: Callable[[CanFrame], None] | None


@dataclass(frozen=True)
class TransportSettings:
    """Addresses and parameters of one ISO-TP node.

    Attributes:
        rx, tx: identifiers of frames to it and from it.
        extended: 29-bit identifiers.
        functional: identifiers of functional requests, single frames only.
        stmin, block_size: what its flow control asks for (raw byte; frames, 0: no limit).
        padding: byte that fills frames to 8, None: short frames.
        timeout_ms: for flow control and for consecutive frames, ms.
        max_length: longest message taken; longer first frames are answered with overflow.
    """

    rx: int
    tx: int
    extended: bool = False
    functional: tuple[int, ...] = ()
    stmin: int = 0
    block_size: int = 8
    padding: int | None = 0xCC
    timeout_ms: int = 1000
    max_length: int = 4095


class _ClockTimer(IsoTpTimer):
    """can-isotp's timer on the Clock port."""

    def __init__(self, clock: Clock, timeout: float) -> None:
        self._clock = clock
        super().__init__(timeout)

    def start(self, timeout: float | None = None) -> None:
        if timeout is not None:
            self.set_timeout(timeout)
        self.start_time = round(self._clock.now() * 1e9)

    def elapsed_ns(self) -> int:
        return 0 if self.start_time is None else round(self._clock.now() * 1e9) - self.start_time

    def elapsed(self) -> float:
        return self.elapsed_ns() / 1e9

    def is_timed_out(self) -> bool:
        return self.start_time is not None and self.elapsed_ns() + _LATE_NS >= self.timeout

    def due_s(self) -> float | None:
        """When it runs out, s on the Clock; None while stopped."""
        return None if self.start_time is None else (self.start_time + self.timeout) / 1e9


class _Queue(deque[Any]):
    """What can-isotp asks of its queues, without the locks that one thread does not need."""

    put = deque[Any].append
    get_nowait = deque[Any].popleft

    def get(self, block: bool = True, timeout: float | None = None) -> Any:  # noqa: ARG002
        if not self:
            raise Empty
        return self.popleft()

    def empty(self) -> bool:
        return not self

    def full(self) -> bool:
        return False


class _Complete:
    """Stands for the event that a waiting thread would want; nobody waits here."""

    def set(self) -> None: ...
    def clear(self) -> None: ...
    def is_set(self) -> bool:
        return True


class _SendRequest(TransportLayerLogic.SendRequest):
    def __init__(self, data: bytes, target_address_type: isotp.TargetAddressType) -> None:
        self.generator = FiniteByteGenerator((value for value in data), len(data))
        self.consumed_size = 0
        self.target_address_type = target_address_type
        self.complete_event = cast(Any, _Complete())
        self.success = False


class _Logic(TransportLayerLogic):
    """can-isotp's logic with our timers, sending one frame at a time where the bus tells when it has gone."""

    SendRequest = _SendRequest

    def __init__(self, clock: Clock, rxfn: Callable[[], Any], txfn: Callable[[Any], None], **more: Any) -> None:
        self._clock = clock
        self.paced = False
        self.in_flight = 0
        self.put_s = 0.0
        super().__init__(rxfn=cast(Any, rxfn), txfn=txfn, **more)
        self.timer_tx_stmin = _ClockTimer(clock, 0.0)
        self.tx_queue = cast(Any, _Queue())
        self.rx_queue = cast(Any, _Queue())

    def load_params(self) -> None:
        super().load_params()
        self.timer_rx_fc = self._timer(self.params.rx_flowcontrol_timeout)
        self.timer_rx_cf = self._timer(self.params.rx_consecutive_frame_timeout)

    def _timer(self, timeout_ms: float) -> _ClockTimer:
        return _ClockTimer(self._clock, timeout_ms / 1000)

    def _start_rx_fc_timer(self) -> None:
        self.timer_rx_fc = self._timer(self.params.rx_flowcontrol_timeout)
        self.timer_rx_fc.start()

    def _start_rx_cf_timer(self) -> None:
        self.timer_rx_cf = self._timer(self.params.rx_consecutive_frame_timeout)
        self.timer_rx_cf.start()

    def _process_tx(self) -> TransportLayerLogic.ProcessTxReport:
        if self.held_back() and not self.pending_flow_control_tx:
            return self.ProcessTxReport(msg=None, immediate_rx_required=False)
        return super()._process_tx()

    def held_back(self) -> bool:
        """The frame before has not gone yet; a frame that never goes (bus off) holds back no longer than N_As, 1 s."""
        if self.in_flight and self._clock.now() - self.put_s >= _N_AS_S:
            self.in_flight = 0
        return self.paced and self.in_flight > 0

    def confirm(self) -> None:
        """A frame of ours is on the wire: times run from here."""
        self.in_flight = max(0, self.in_flight - 1)
        if not self.timer_tx_stmin.is_stopped():
            self.timer_tx_stmin.start()
        if not self.timer_rx_fc.is_stopped():
            self.timer_rx_fc.start()

    def due_s(self) -> float | None:
        """When a timer wants attention, s on the Clock; None: nothing runs."""
        due = [_due_s(self.timer_rx_cf)]
        if self.held_back():
            due.append(self.put_s + _N_AS_S)
        else:
            due.append(_due_s(self.timer_rx_fc))
            if self.is_tx_transmitting_cf():
                due.append(_due_s(self.timer_tx_stmin))
        return min((moment for moment in due if moment is not None), default=None)


def _due_s(timer: IsoTpTimer) -> float | None:
    return cast(_ClockTimer, timer).due_s()


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
        self._logic = _make_logic(clock, settings, self._take, self._put_message, on_error)
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


def _no_wait(_seconds: float) -> None:
    """can-isotp tries its waiting function when it checks parameters; nothing here waits that way."""


def _known_stmin(data: bytes) -> bytes:
    """Flow control with a reserved separation time reads as 127 ms, as the standard asks; can-isotp would refuse it."""
    if len(data) >= 3 and data[0] >> 4 == 3 and (0x80 <= data[2] <= 0xF0 or data[2] >= 0xFA):
        return data[:2] + b"\x7f" + data[3:]
    return data


def _make_logic(
    clock: Clock,
    settings: TransportSettings,
    take: Callable[[], isotp.CanMessage | None],
    put: Callable[[isotp.CanMessage], None],
    on_error: Callable[[Exception], None],
) -> _Logic:
    mode = isotp.AddressingMode.Normal_29bits if settings.extended else isotp.AddressingMode.Normal_11bits
    return _Logic(
        clock,
        take,
        put,
        address=isotp.Address(mode, txid=settings.tx, rxid=settings.rx),
        error_handler=on_error,
        params={
            "stmin": settings.stmin,
            "blocksize": settings.block_size,
            "tx_padding": settings.padding,
            "rx_flowcontrol_timeout": settings.timeout_ms,
            "rx_consecutive_frame_timeout": settings.timeout_ms,
            "max_frame_size": settings.max_length,
            "wftmax": 255,
            "logger_name": _LOGGER,
            "wait_func": _no_wait,
        },
    )
