"""A link on any Bus: one tester's place on it.

Use::

    link = BusLink(bus, clock, name="in-loop bench bus")
    await link.open()
    stop = link.listen(frames.append)
    link.send(CanFrame(0x7E0, bytes.fromhex("023E000000000000")))

The origin is the bus's own; there is no parameter for it.
"""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Bus, BusNode, Listener
from asleft.ports.clock import Clock

from .abilities import LossListener, Openable, SentAttribute, SentListener, Stop, TellsLoss
from .fanout import Fanout


class BusLink:
    """The Link port on a Bus.

    Args:
        bus: any bus; one that has to be opened is opened and closed with the link.
        clock: stamps frames that carry no time of their own.
        name: for messages and the record; empty: made from the origin.
        node_name: what it is called on the bus.
    """

    def __init__(self, bus: Bus, clock: Clock, name: str = "", node_name: str = "tester") -> None:
        self._bus = bus
        self._clock = clock
        self._name = name
        self._node_name = node_name
        self._node: BusNode | None = None
        self._loss: LinkError | None = None
        self._heard: Fanout[CanFrame] = Fanout()
        self._sent: Fanout[CanFrame] = Fanout()
        self._lost: Fanout[LinkError] = Fanout()
        self._stop_watching: Stop | None = None
        self.confirms = False

    @property
    def origin(self) -> Origin:
        """The bus's own."""
        return self._bus.origin

    @property
    def name(self) -> str:
        """Address for messages and the record."""
        return self._name or f"{self.origin.value} bus"

    @property
    def bitrate(self) -> int | None:
        """Of the bus, bit/s; None: it does not say."""
        return getattr(self._bus, "bitrate", None)

    @property
    def fd_length(self) -> int:
        """Longest CAN FD frame that conversations send here, bytes; 0: classic frames only."""
        return int(getattr(self._bus, "fd_length", 0))

    async def open(self) -> None:
        """Join the bus. Raises LinkError (no-bus)."""
        if self._node is not None:
            return
        if isinstance(self._bus, Openable):
            await self._bus.open()
        self._loss = None
        self._node = self._bus.join(self._node_name, self._on_frame)
        if isinstance(self._node, SentAttribute):
            self._node.sent = self._on_sent
            self.confirms = True
        if isinstance(self._bus, TellsLoss):
            self._stop_watching = self._bus.when_lost(self._on_lost)

    async def close(self) -> None:
        """Leave the bus; safe to call twice."""
        node, self._node = self._node, None
        if node is None:
            return
        if self._stop_watching is not None:
            self._stop_watching()
            self._stop_watching = None
        node.leave()
        if isinstance(self._bus, Openable):
            await self._bus.close()

    def send(self, frame: CanFrame) -> None:
        """Queue one frame. Raises LinkError (link-lost): not open, or lost meanwhile."""
        if self._loss is not None:
            raise self._loss
        if self._node is None:
            raise LinkError(Code.LINK_LOST, "the link is not open", self.name)
        self._node.send(frame)

    def listen(self, listener: Listener) -> Stop:
        """Hear every frame received from now on."""
        return self._heard.add(listener)

    def when_sent(self, listener: SentListener) -> Stop:
        """Hear of own frames on the wire; never called on a bus that does not tell (``confirms``)."""
        return self._sent.add(listener)

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once when the bus is gone."""
        if self._loss is not None:
            listener(self._loss)
        return self._lost.add(listener)

    def _on_frame(self, frame: CanFrame) -> None:
        self._heard(self._stamped(frame))

    def _on_sent(self, frame: CanFrame) -> None:
        if self._sent:
            self._sent(self._stamped(frame))

    def _on_lost(self, error: LinkError) -> None:
        if self._loss is None:
            self._loss = error
            self._lost(error)

    def _stamped(self, frame: CanFrame) -> CanFrame:
        return frame if frame.time_s is not None else msgspec.structs.replace(frame, time_s=self._clock.now())
