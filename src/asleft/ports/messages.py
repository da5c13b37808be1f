"""The MessageLink port: what moves whole diagnostic messages between peers (DoIP, K-line), as Link moves frames."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, runtime_checkable

import msgspec

from asleft.model.errors import AsleftError, LinkError
from asleft.model.origin import Origin

Stop = Callable[[], None]


class PeerMessage(msgspec.Struct, frozen=True):
    """A whole message of one peer.

    Attributes:
        peer: its address on this link.
        payload: service byte first.
        started_s, time_s: when it began and when it was whole, s on the link's clock.
    """

    peer: int
    payload: bytes
    started_s: float
    time_s: float


class SentMessage(msgspec.Struct, frozen=True):
    """A message of ours has gone out (K-line) or was taken over by the car's gateway (DoIP).

    Attributes:
        peer: whom it went to; None: to everybody.
        time_s: when, s on the link's clock.
    """

    peer: int | None
    time_s: float


class FailedMessage(msgspec.Struct, frozen=True):
    """A message of ours, or an answer to it, did not come through; the link goes on.

    Attributes:
        peer: whom it concerns; None: everybody.
        error: ready to be raised.
    """

    peer: int | None
    error: AsleftError


@runtime_checkable
class MessageLink(Protocol):
    """An open way to a car that carries whole messages. One at a time sends on it."""

    @property
    def origin(self) -> Origin:
        """Where what it carries comes from. Not a setting."""
        ...

    @property
    def name(self) -> str:
        """Address for messages and the record."""
        ...

    @property
    def most_at_once(self) -> int:
        """Requests that may be on their way at a time by the nature of the link (K-line: 1)."""
        ...

    @property
    def speaks_kwp(self) -> bool:
        """The modules on it speak KWP2000; else UDS."""
        ...

    @property
    def may_write(self) -> bool:
        """Whether this kind of link is fit for effects at all, whatever the settings allow."""
        ...

    async def open(self) -> None:
        """Begin to hear. Raises LinkError (no-bus)."""
        ...

    async def close(self) -> None:
        """End; safe to call twice."""
        ...

    def send(self, peer: int | None, payload: bytes) -> None:
        """Queue one message to a peer, or to everybody (None). Raises LinkError (link-lost)."""
        ...

    def listen(self, listener: Callable[[PeerMessage], None]) -> Stop:
        """Hear every message from now on."""
        ...

    def when_sent(self, listener: Callable[[SentMessage], None]) -> Stop:
        """Hear of own messages that have gone out."""
        ...

    def when_failed(self, listener: Callable[[FailedMessage], None]) -> Stop:
        """Hear of messages that did not come through."""
        ...

    def when_lost(self, listener: Callable[[LinkError], None]) -> Stop:
        """Be called once when the way to the car is gone; at once when it already is."""
        ...
