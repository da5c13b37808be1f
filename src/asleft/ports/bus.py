"""The Bus and Link ports: what moves CAN frames."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from asleft.model.frame import CanFrame
from asleft.model.origin import Origin

Listener = Callable[[CanFrame], None]


class BusNode(Protocol):
    """One participant's place on a bus."""

    def send(self, frame: CanFrame) -> None:
        """Queue a frame; it wins arbitration when it can. Raises LinkError when the bus is gone."""
        ...

    def leave(self) -> None:
        """Stop hearing and sending."""
        ...


class Bus(Protocol):
    """A CAN bus that participants join. It says itself where it comes from."""

    @property
    def origin(self) -> Origin:
        """Bench for a bus that a bench made; vehicle for an interface."""
        ...

    def join(self, name: str, listener: Listener) -> BusNode:
        """Take part: ``listener`` is called in the event loop with every frame of the others, ``time_s`` set."""
        ...


class Link(Protocol):
    """An open way to a car. One at a time sends on it."""

    @property
    def origin(self) -> Origin:
        """Where what it carries comes from. Not a setting."""
        ...

    @property
    def name(self) -> str:
        """Address for messages and the record, for example ``in-loop bench bus``."""
        ...

    async def open(self) -> None:
        """Begin to hear. Raises LinkError (no-bus) when that cannot be."""
        ...

    async def close(self) -> None:
        """End; safe to call twice."""
        ...

    def send(self, frame: CanFrame) -> None:
        """Queue one frame. Raises LinkError (link-lost)."""
        ...

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Hear every frame received from now on; returns the way to stop."""
        ...
