"""can-isotp's logic on the Clock port: its timers, its queues without locks, one frame at a time.

can-isotp 2.0.7 reads the machine's clock in its timers and makes a thread's event for every message; here neither
happens, and the protocol itself is its own.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty
from typing import Any, cast

import isotp
from isotp.protocol import TransportLayerLogic
from isotp.tools import FiniteByteGenerator
from isotp.tools import Timer as IsoTpTimer

from asleft.ports.clock import Clock

_LOGGER = "asleft.bench.isotp"
logging.getLogger(_LOGGER).addHandler(logging.NullHandler())
_LATE_NS = 1_000
#: Longest wait for an own frame to get away (N_As of ISO 15765-2, recalled), s.
_N_AS_S = 1.0


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


class Logic(TransportLayerLogic):
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
        """Parameters checked and timers made anew, on our clock."""
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
        if self.in_flight and self._clock.now() - self.put_s >= _N_AS_S - _LATE_NS / 1e9:
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


def _no_wait(_seconds: float) -> None:
    """can-isotp tries its waiting function when it checks parameters; nothing here waits that way."""


def make_logic(
    clock: Clock,
    settings: TransportSettings,
    take: Callable[[], isotp.CanMessage | None],
    put: Callable[[isotp.CanMessage], None],
    on_error: Callable[[Exception], None],
) -> Logic:
    """The logic of one node: ``take`` gives received frames, ``put`` sends, ``on_error`` hears of broken transfers."""
    mode = isotp.AddressingMode.Normal_29bits if settings.extended else isotp.AddressingMode.Normal_11bits
    return Logic(
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
