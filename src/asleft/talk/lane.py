"""One module's way over CAN: an ISO-TP session on a link, its timer, and who listens to it.

A lane carries whole messages and knows nothing of requests. Frames are dispatched to it by the hub.
"""

from __future__ import annotations

from typing import Protocol

from asleft.codec.isotp import (
    Direction,
    IsoTpAddress,
    IsoTpConfig,
    IsoTpSession,
    Received,
    Sent,
    TransferFailed,
)
from asleft.model.errors import AsleftError, LinkError
from asleft.model.frame import CanFrame
from asleft.ports.bus import Link
from asleft.ports.clock import Clock, Timer


class LaneUser(Protocol):
    """Who has the lane now: one request and the wait for its answer."""

    def on_sent(self, time_s: float) -> None:
        """The request is on the wire completely."""
        ...

    def on_message(self, payload: bytes, started_s: float, time_s: float) -> None:
        """A whole message came from the module; times of its first and its last frame."""
        ...

    def on_failed(self, error: AsleftError, direction: Direction) -> None:
        """A transfer broke, a message was not taken, or the link is gone."""
        ...


class Lane(Protocol):
    """A way to one module, over whatever link."""

    user: LaneUser | None

    @property
    def busy(self) -> bool:
        """A message is on its way in or out."""
        ...

    @property
    def sending(self) -> bool:
        """A message is on its way out."""
        ...

    @property
    def receiving(self) -> bool:
        """A message is on its way in."""
        ...

    def send(self, payload: bytes) -> None:
        """Begin to send one message. Raises LinkError."""
        ...

    def forget(self) -> None:
        """Drop what is on its way."""
        ...


class CanLane:
    """A lane over CAN.

    Args:
        link: carries the frames; open.
        clock: the link's.
        address: who talks to whom.
        config: of the transfers.
        confirms: the link tells when a frame is on the wire.
        on_strange: takes messages that nobody waits for.
    """

    def __init__(self, link: Link, clock: Clock, address: IsoTpAddress, config: IsoTpConfig, *, confirms: bool) -> None:
        self.address = address
        self.user: LaneUser | None = None
        self._link = link
        self._clock = clock
        self._session = IsoTpSession(address, config)
        self._confirms = confirms
        self._last_out: bytes | None = None
        self._awaited: bytes | None = None
        self._timer: Timer | None = None
        self._timer_s = 0.0

    @property
    def busy(self) -> bool:
        """A message is on its way in or out."""
        return self._session.sending or self._session.receiving

    @property
    def sending(self) -> bool:
        """A message is on its way out, by its own times (not: waiting for the bus)."""
        return self._session.sending

    @property
    def receiving(self) -> bool:
        """A message is on its way in."""
        return self._session.receiving

    def send(self, payload: bytes) -> None:
        """Begin to send one message; what was on its way is dropped. Raises LinkError."""
        self._session.forget()
        self._awaited = None
        self._session.send(payload, self._clock.now())
        self._put_out()
        self._take_events()
        self._arm()

    def forget(self) -> None:
        """Drop what is on its way in both directions."""
        self._session.forget()
        self._session.events()
        self._awaited = None
        self._disarm()

    def on_frame(self, frame: CanFrame) -> None:
        """Take a frame of the module."""
        now_s = frame.time_s if frame.time_s is not None else self._clock.now()
        self._session.feed(frame, now_s)
        self._go_on()

    def on_confirmed(self, data: bytes, time_s: float) -> None:
        """A frame of ours is on the wire; with the last one the whole message is."""
        if self._awaited is not None and data == self._awaited:
            self._awaited = None
            if self.user is not None:
                self.user.on_sent(time_s)

    def on_lost(self, error: LinkError) -> None:
        """The link is gone."""
        self.forget()
        if self.user is not None:
            self.user.on_failed(error, Direction.SENDING)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _go_on(self) -> None:
        try:
            self._put_out()
        except LinkError as error:
            self._session.forget()
            if self.user is not None:
                self.user.on_failed(error, Direction.SENDING)
        self._take_events()
        self._arm()

    def _put_out(self) -> None:
        for frame in self._session.frames_to_send():
            self._link.send(frame)
            self._last_out = frame.data

    def _take_events(self) -> None:
        for event in self._session.events():
            if isinstance(event, Sent):
                self._sent_out(event.time_s)
            elif self.user is None:
                continue
            elif isinstance(event, Received):
                self.user.on_message(event.payload, event.started_s, event.time_s)
            elif isinstance(event, TransferFailed):
                self.user.on_failed(event.error, event.direction)

    def _sent_out(self, time_s: float) -> None:
        if self._confirms:
            self._awaited = self._last_out
        elif self.user is not None:
            self.user.on_sent(time_s)

    def _arm(self) -> None:
        due_s = self._session.deadline()
        if due_s is None:
            return  # a timer that is still set finds nothing to do
        if self._timer is not None:
            if self._timer_s <= due_s:
                return
            self._timer.cancel()
        self._timer_s = due_s
        self._timer = self._clock.call_at(due_s, self._on_timer)

    def _disarm(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _on_timer(self) -> None:
        self._timer = None
        self._session.poll(self._clock.now())
        self._go_on()
