"""The sending half of a session: one message at a time, frames out, flow control in.

States and what each flow status does in them stand in ``_ON_FLOW``. Flow control that nobody waits for is ignored.

Source: ISO 15765-2:2016, 9.6.5 (flow control), 9.8 (timing); recalled, not checked against the text.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum, unique

from asleft.model.errors import Code, LinkError

from .addressing import IsoTpAddress, Lane
from .config import IsoTpConfig
from .errors import FlowControlSilent, InvalidFlowStatus, OtherSideFull, TooManyWaits, TransferBroken
from .events import Direction, IsoTpEvent, Sent, TransferFailed
from .frames import (
    LONG_FORM_MAX,
    Flow,
    FlowStatus,
    make_consecutive,
    make_first,
    make_single,
    single_room,
    st_min_s,
)

#: Gives one frame body to the link: lane, bytes without address and padding.
Emit = Callable[[Lane, bytes], None]
Report = Callable[[IsoTpEvent], None]


@unique
class SenderState(StrEnum):
    """Where the sender stands."""

    IDLE = "idle"
    WAITS_FOR_FLOW = "waits-for-flow"
    SENDS = "sends"


class Sender:
    """Sends one message at a time.

    Args:
        address: lanes.
        config: frame length, time-outs, largest number of waits.
        emit: takes each frame body.
        report: takes ``Sent`` and ``TransferFailed``.
    """

    def __init__(self, address: IsoTpAddress, config: IsoTpConfig, emit: Emit, report: Report) -> None:
        self._address = address
        self._config = config
        self._emit = emit
        self._report = report
        self.state = SenderState.IDLE
        self._payload = b""
        self._position = 0
        self._number = 0
        self._left_in_block: int | None = None
        self._gap_s = 0.0
        self._waits = 0
        self._due_s: float | None = None

    @property
    def deadline(self) -> float | None:
        """Until when it waits, s: for flow control, or for the least time between frames."""
        return self._due_s

    def send(self, payload: bytes, now_s: float, lane: Lane) -> None:
        """Begin a message; a short one is on its way at once.

        Raises: LinkError: empty, too long for the lane, or another message is under way.
        """
        self._check(payload, lane)
        frame_length, overhead = self._config.frame_length, lane.overhead
        if len(payload) <= single_room(frame_length, overhead):
            self._emit(lane, make_single(payload, frame_length, overhead))
            self._report(Sent(payload, now_s))
            return
        body, self._position = make_first(payload, frame_length, overhead)
        self._payload, self._number, self._waits = payload, 1, 0
        self._emit(lane, body)
        self._wait_for_flow(now_s)

    def _check(self, payload: bytes, lane: Lane) -> None:
        if self.state is not SenderState.IDLE:
            raise LinkError(Code.FRAME_INVALID, "a message is still under way", self._address.text())
        if not 0 < len(payload) <= LONG_FORM_MAX:
            raise LinkError(Code.FRAME_INVALID, f"{len(payload)} bytes to send", self._address.text())
        room = single_room(self._config.frame_length, lane.overhead)
        if lane is self._address.tx_functional and len(payload) > room:
            raise LinkError(
                Code.FRAME_INVALID, f"{len(payload)} bytes to everybody; one frame holds {room}", self._address.text()
            )

    def on_flow(self, flow: Flow, now_s: float) -> None:
        """Take a flow control frame."""
        if self.state is not SenderState.WAITS_FOR_FLOW:
            return
        reaction = _ON_FLOW.get(flow.status, Sender._invalid)
        reaction(self, flow, now_s)

    def poll(self, now_s: float) -> None:
        """Let time pass: send what is due, or give up waiting for flow control."""
        if self._due_s is None or now_s < self._due_s:
            return
        if self.state is SenderState.WAITS_FOR_FLOW:
            self._fail(FlowControlSilent(f"{self._config.flow_timeout_s:g} s", self._address.text()), now_s)
        else:
            self._send_due(now_s)

    def forget(self) -> None:
        """Drop the message under way, without a report."""
        self.state, self._due_s, self._payload = SenderState.IDLE, None, b""

    def _wait_for_flow(self, now_s: float) -> None:
        self.state = SenderState.WAITS_FOR_FLOW
        self._due_s = now_s + self._config.flow_timeout_s

    def _go_on(self, flow: Flow, now_s: float) -> None:
        self.state = SenderState.SENDS
        self._waits = 0
        self._left_in_block = flow.block_size or None
        self._gap_s = max(st_min_s(flow.st_min), self._config.own_gap_s)
        self._send_due(now_s)

    def _be_patient(self, _flow: Flow, now_s: float) -> None:
        self._waits += 1
        if self._waits > self._config.max_waits:
            self._fail(TooManyWaits(f"{self._waits} in a row", self._address.text()), now_s)
        else:
            self._wait_for_flow(now_s)

    def _full(self, _flow: Flow, now_s: float) -> None:
        self._fail(OtherSideFull(f"{len(self._payload)} bytes", self._address.text()), now_s)

    def _invalid(self, flow: Flow, now_s: float) -> None:
        self._fail(InvalidFlowStatus(f"status {flow.status}", self._address.text()), now_s)

    def _send_due(self, now_s: float) -> None:
        while self.state is SenderState.SENDS:
            self._send_one(now_s)
            if self._gap_s > 0:
                break

    def _send_one(self, now_s: float) -> None:
        lane = self._address.tx
        taken = self._config.frame_length - lane.overhead - 1
        piece = self._payload[self._position : self._position + taken]
        self._emit(lane, make_consecutive(self._number, piece))
        self._number = (self._number + 1) & 0x0F
        self._position += len(piece)
        if self._left_in_block is not None:
            self._left_in_block -= 1
        if self._position >= len(self._payload):
            payload = self._payload
            self.forget()
            self._report(Sent(payload, now_s))
        elif self._left_in_block == 0:
            self._wait_for_flow(now_s)
        else:
            self._due_s = now_s + self._gap_s

    def _fail(self, error: TransferBroken, now_s: float) -> None:
        done, length = self._position, len(self._payload)
        self.forget()
        self._report(TransferFailed(Direction.SENDING, error, now_s, done, length))


_ON_FLOW: dict[int, Callable[[Sender, Flow, float], None]] = {
    FlowStatus.CONTINUE: Sender._go_on,  # pyright: ignore[reportPrivateUsage]
    FlowStatus.WAIT: Sender._be_patient,  # pyright: ignore[reportPrivateUsage]
    FlowStatus.OVERFLOW: Sender._full,  # pyright: ignore[reportPrivateUsage]
}
