"""Lanes on a link that carries whole messages: DoIP, K-line.

A module's address is its logical or line address, as both identifiers of its ``ModuleAddress``. On a K-line an OBD
answer may come in several messages; they are put together here, in the form that the same answer has on CAN.
"""

from __future__ import annotations

from collections.abc import Callable

from asleft.codec.isotp import Direction, TransferBroken
from asleft.model.errors import AsleftError, Code, LinkError, ModuleError
from asleft.model.module import ModuleAddress
from asleft.ports.clock import Clock, Timer
from asleft.ports.messages import FailedMessage, MessageLink, PeerMessage, SentMessage, Stop

from .errors import NotPassedOn
from .kline_obd import comes_in_pieces, joined
from .lane import LaneUser
from .load import BusLoad

#: A K-line module has said all when it has been quiet this long, s. Source: ISO 14230-2, P2 max 50 ms (recalled).
_QUIET_S = 0.07


class MessageLane:
    """A lane to one peer.

    Args:
        link, clock: of the hub.
        peer: address.
        pieces: answers may come in several messages (K-line).
    """

    def __init__(self, link: MessageLink, clock: Clock, peer: int, *, pieces: bool) -> None:
        self.user: LaneUser | None = None
        self._link = link
        self._clock = clock
        self._peer = peer
        self._pieces = pieces
        self._request = b""
        self._parts: list[PeerMessage] = []
        self._timer: Timer | None = None

    @property
    def busy(self) -> bool:
        """An answer is being put together."""
        return bool(self._parts)

    @property
    def sending(self) -> bool:
        """Never: the link sends whole messages."""
        return False

    @property
    def receiving(self) -> bool:
        """An answer is being put together."""
        return bool(self._parts)

    def send(self, payload: bytes) -> None:
        """Send one message. Raises LinkError."""
        self.forget()
        self._request = payload
        self._link.send(self._peer, payload)

    def expect(self, request: bytes) -> None:
        """An answer to this may come: it was sent to everybody."""
        self._request = request

    def forget(self) -> None:
        """Drop what has come so far."""
        self._parts.clear()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def on_sent(self, time_s: float) -> None:
        """The message to this peer is out."""
        if self.user is not None:
            self.user.on_sent(time_s)

    def on_message(self, message: PeerMessage) -> None:
        """Take a message of the peer."""
        if self._pieces and self._request and comes_in_pieces(self._request, message.payload):
            self._parts.append(message)
            if self._timer is not None:
                self._timer.cancel()
            self._timer = self._clock.call_at(message.time_s + _QUIET_S, self._whole)
        elif self.user is not None:
            self.user.on_message(message.payload, message.started_s, message.time_s)

    def on_failed(self, error: AsleftError) -> None:
        """A message did not come through, or the link is gone."""
        self.forget()
        if isinstance(error, ModuleError):
            error = NotPassedOn(error.where, self._request, error.detail)
        elif error.code is Code.TRANSFER_BROKEN:
            error = TransferBroken(error.detail, error.where)
        if self.user is not None:
            self.user.on_failed(error, Direction.SENDING)

    def _whole(self) -> None:
        parts, self._parts, self._timer = self._parts, [], None
        if parts and self.user is not None:
            payload = joined([part.payload for part in parts])
            self.user.on_message(payload, parts[0].started_s, parts[-1].time_s)


class MessageHub:
    """Lanes on one message link.

    Args:
        link: open.
        clock: the link's.
        pieces: OBD answers may come in several messages (K-line).
    """

    confirms = True
    load: BusLoad | None = None

    def __init__(self, link: MessageLink, clock: Clock, *, pieces: bool) -> None:
        self.on_newcomer: Callable[[ModuleAddress], bool] | None = None
        self.on_everybody_sent: Callable[[float], None] | None = None
        self.on_everybody_failed: Callable[[AsleftError], None] | None = None
        self.loss: LinkError | None = None
        self.deaf = False  # messages are whole here: nothing is sent for one that is not ours
        self._link = link
        self._clock = clock
        self._pieces = pieces
        self._lanes: dict[int, MessageLane] = {}
        self._to_all = b""
        self._stops: list[Stop] = [
            link.listen(self._on_message),
            link.when_sent(self._on_sent),
            link.when_failed(self._on_failed),
            link.when_lost(self._on_lost),
        ]

    @property
    def most_at_once(self) -> int:
        """The link's own."""
        return self._link.most_at_once

    def lane(self, address: ModuleAddress) -> MessageLane:
        """The lane to a peer, made when it is not there yet."""
        lane = self._lanes.get(address.request_id)
        if lane is None:
            lane = MessageLane(self._link, self._clock, address.request_id, pieces=self._pieces)
            self._lanes[address.request_id] = lane
        return lane

    def may_answer_all(self, address: ModuleAddress, *, wide: bool) -> bool:  # noqa: ARG002 - one width here
        """Any peer may."""
        return True

    def send_to_all(self, request: bytes, *, wide: bool) -> None:  # noqa: ARG002 - one width here
        """Send a request to everybody. Raises LinkError."""
        self._to_all = request
        for lane in self._lanes.values():
            lane.expect(request)
        self._link.send(None, request)

    def close(self) -> None:
        """Stop hearing."""
        for stop in self._stops:
            stop()
        self._stops.clear()
        for lane in self._lanes.values():
            lane.forget()

    def _on_message(self, message: PeerMessage) -> None:
        lane = self._lanes.get(message.peer)
        if lane is None and self.on_newcomer is not None:
            address = ModuleAddress(f"module {message.peer:02X}", message.peer, message.peer)
            if self.on_newcomer(address):
                lane = self._lanes[message.peer]
                lane.expect(self._to_all)
        if lane is not None:
            lane.on_message(message)

    def _on_sent(self, sent: SentMessage) -> None:
        if sent.peer is None:
            if self.on_everybody_sent is not None:
                self.on_everybody_sent(sent.time_s)
        elif sent.peer in self._lanes:
            self._lanes[sent.peer].on_sent(sent.time_s)

    def _on_failed(self, failed: FailedMessage) -> None:
        if failed.peer is None and self.on_everybody_failed is not None:
            self.on_everybody_failed(failed.error)
            return
        lanes = list(self._lanes.values()) if failed.peer is None else [self._lanes.get(failed.peer)]
        for lane in lanes:
            if lane is not None:
                lane.on_failed(failed.error)

    def _on_lost(self, error: LinkError) -> None:
        self.loss = error
        for lane in tuple(self._lanes.values()):
            lane.on_failed(error)
