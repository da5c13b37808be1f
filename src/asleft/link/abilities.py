"""What a link or a bus may be able to tell besides the frames: that one has gone out, and that the link is lost.

Optional: whoever uses them asks with ``isinstance`` once and works without as well, with times less exact.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, runtime_checkable

from asleft.model.errors import LinkError
from asleft.model.frame import CanFrame

#: Ends what it was given for; harmless the second time.
Stop = Callable[[], None]
SentListener = Callable[[CanFrame], None]
LossListener = Callable[[LinkError], None]


@runtime_checkable
class TellsSent(Protocol):
    """Tells when a frame of its own is on the wire completely, ``time_s`` set."""

    def when_sent(self, listener: SentListener) -> Stop:
        """Hear of every frame sent from now on."""
        ...


@runtime_checkable
class TellsLoss(Protocol):
    """Tells when the way to the car is gone (unplugged, driver gone, bus off)."""

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once, in the event loop, when that happens; at once when it already has."""
        ...


@runtime_checkable
class Openable(Protocol):
    """A bus that has to be opened before it can be joined."""

    async def open(self) -> None:
        """Begin to hear. Raises LinkError (no-bus)."""
        ...

    async def close(self) -> None:
        """End; safe to call twice."""
        ...


@runtime_checkable
class SentAttribute(Protocol):
    """A bus node that calls ``sent`` with each own frame when it is on the wire completely."""

    sent: Callable[[CanFrame], None] | None
