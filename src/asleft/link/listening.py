"""Listening beside another tester: a link that cannot send, whatever is asked of it.

What sends is not even there: the wrapper passes nothing on, and a CAN interface is opened in listen-only mode, in which
it acknowledges nothing either. An interface that cannot be told to keep so silent is refused::

    link = listening_link("can:slcan:/dev/ttyUSB0?bitrate=500000", clock)
    stop = link.listen(frames.append)
"""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, InputError, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Link, Listener
from asleft.ports.clock import Clock

from .abilities import LossListener, Stop, TellsLoss
from .address import make_link, parse_can


class ListenOnly:
    """The Link port around another link, hearing only.

    Args: inner: does the hearing.
    """

    confirms = False

    def __init__(self, inner: Link) -> None:
        self._inner = inner

    @property
    def inner(self) -> Link:
        """What does the hearing."""
        return self._inner

    @property
    def origin(self) -> Origin:
        """The inner link's own."""
        return self._inner.origin

    @property
    def name(self) -> str:
        """The inner link's name."""
        return self._inner.name

    async def open(self) -> None:
        """Begin to hear. Raises LinkError (no-bus), InputError: a log that cannot be read."""
        await self._inner.open()

    async def close(self) -> None:
        """End; safe to call twice."""
        await self._inner.close()

    def send(self, frame: CanFrame) -> None:
        """Never. Raises LinkError (listen-only)."""
        raise LinkError(Code.LISTEN_ONLY, frame.text(), self.name)

    def listen(self, listener: Listener) -> Stop:
        """Hear every frame received from now on."""
        return self._inner.listen(listener)

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once when the inner link is gone."""
        return self._inner.when_lost(listener) if isinstance(self._inner, TellsLoss) else _nothing


def listening_link(text: str, clock: Clock) -> ListenOnly:
    """The link, not yet open, that an address means, for listening: ``can:`` with or without ``listen=1``, or ``log:``.

    Raises: InputError (link-address-bad): it carries messages, not frames; no bit rate; an interface that cannot keep
        silent.
    """
    if text.strip().startswith("can:"):
        address = parse_can(text)
        if address.bitrate is None:
            what = "to listen, the bit rate must be known: from listening for it, or from the source"
            raise InputError(Code.LINK_ADDRESS_BAD, what, text)
        text = msgspec.structs.replace(address, listen=True).text
    return ListenOnly(make_link(text, clock))


def _nothing() -> None:
    return None
