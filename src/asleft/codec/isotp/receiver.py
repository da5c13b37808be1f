"""The receiving half of a session: frames in, messages and flow control out.

What each kind of frame does in each state stands in ``Receiver._table``.

Source: ISO 15765-2:2016, 9.6 (protocol data units), 9.8.3 (unexpected arrival); recalled, not checked against the text.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum, unique

from .addressing import IsoTpAddress, Lane
from .config import IsoTpConfig
from .errors import ConsecutiveSilent, InterruptedByNew, MessageTooLong, TransferBroken, WrongSequenceNumber
from .events import Began, Direction, Received, TransferFailed
from .frames import Consecutive, First, FlowStatus, Pdu, Single, make_flow
from .sender import Emit, Report


@unique
class ReceiverState(StrEnum):
    """Where the receiver stands."""

    IDLE = "idle"
    COLLECTS = "collects"


class Receiver:
    """Puts messages together.

    Args:
        address: lanes.
        config: block size, STmin, largest message, time-out.
        emit: takes each flow control body.
        report: takes ``Received``, ``Began`` and ``TransferFailed``.
    """

    def __init__(self, address: IsoTpAddress, config: IsoTpConfig, emit: Emit, report: Report) -> None:
        self._address = address
        self._config = config
        self._emit = emit
        self._report = report
        self.state = ReceiverState.IDLE
        self._buffer = bytearray()
        self._length = 0
        self._frame_length = 8
        self._number = 0
        self._in_block = 0
        self._started_s = 0.0
        self._due_s: float | None = None
        idle, collects = ReceiverState.IDLE, ReceiverState.COLLECTS
        self._table: dict[tuple[ReceiverState, type[Pdu]], Callable[[Pdu, Lane, float], None]] = {
            (idle, Single): self._take_single,
            (idle, First): self._begin,
            (collects, Single): self._interrupted_by_single,
            (collects, First): self._interrupted_by_first,
            (collects, Consecutive): self._continue,
        }

    @property
    def deadline(self) -> float | None:
        """Until when it waits for the next consecutive frame, s."""
        return self._due_s

    def on_pdu(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        """Take a single, first or consecutive frame; what has no entry in the table is ignored."""
        reaction = self._table.get((self.state, type(pdu)))
        if reaction is not None:
            reaction(pdu, lane, now_s)

    def poll(self, now_s: float) -> None:
        """Let time pass: give up a message whose next frame did not come."""
        if self._due_s is not None and now_s >= self._due_s:
            self._fail(ConsecutiveSilent(f"{self._config.consecutive_timeout_s:g} s", self._address.text()), now_s)

    def forget(self) -> None:
        """Drop what was collected, without a report."""
        self.state, self._due_s = ReceiverState.IDLE, None
        self._buffer = bytearray()

    def _is_functional(self, lane: Lane) -> bool:
        return lane is self._address.rx_functional

    def _take_single(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        if isinstance(pdu, Single):
            self._report(Received(pdu.payload, now_s, now_s, self._is_functional(lane)))

    def _begin(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        if not isinstance(pdu, First) or self._is_functional(lane):
            return  # only single frames may go to everybody
        if pdu.length > self._config.max_length:
            self._emit(self._address.tx, make_flow(FlowStatus.OVERFLOW))
            what = f"{pdu.length} bytes announced, {self._config.max_length} accepted"
            error = MessageTooLong(what, self._address.text())
            self._report(TransferFailed(Direction.RECEIVING, error, now_s, 0, pdu.length))
            return
        self.state = ReceiverState.COLLECTS
        self._buffer = bytearray(pdu.data)
        self._length, self._frame_length = pdu.length, pdu.frame_length
        self._number, self._started_s = 1, now_s
        self._report(Began(pdu.length, now_s))
        self._allow(now_s)

    def _allow(self, now_s: float) -> None:
        self._in_block = 0
        self._emit(self._address.tx, make_flow(FlowStatus.CONTINUE, self._config.block_size, self._config.st_min))
        self._due_s = now_s + self._config.consecutive_timeout_s

    def _continue(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        if not isinstance(pdu, Consecutive) or self._is_functional(lane):
            return
        missing = self._length - len(self._buffer)
        if len(pdu.data) < missing and pdu.frame_length != self._frame_length:
            return  # too short to be the last one, and not of the length that the first frame set
        if pdu.number != self._number:
            what = f"expected {self._number}, got {pdu.number}"
            self._fail(WrongSequenceNumber(what, self._address.text()), now_s)
            return
        self._buffer += pdu.data[:missing]
        self._number = (self._number + 1) & 0x0F
        self._in_block += 1
        if len(self._buffer) >= self._length:
            payload, started_s = bytes(self._buffer), self._started_s
            self.forget()
            self._report(Received(payload, started_s, now_s))
        elif self._in_block == self._config.block_size:
            self._allow(now_s)
        else:
            self._due_s = now_s + self._config.consecutive_timeout_s

    def _interrupted_by_single(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        if self._is_functional(lane):
            self._take_single(pdu, lane, now_s)
            return
        self._fail(InterruptedByNew("single frame", self._address.text()), now_s)
        self._take_single(pdu, lane, now_s)

    def _interrupted_by_first(self, pdu: Pdu, lane: Lane, now_s: float) -> None:
        if self._is_functional(lane):
            return
        self._fail(InterruptedByNew("first frame", self._address.text()), now_s)
        self._begin(pdu, lane, now_s)

    def _fail(self, error: TransferBroken, now_s: float) -> None:
        done, length = len(self._buffer), self._length
        self.forget()
        self._report(TransferFailed(Direction.RECEIVING, error, now_s, done, length))
