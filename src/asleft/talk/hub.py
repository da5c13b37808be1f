"""The one receive loop of a CAN link: every frame goes to the lane it belongs to, everything else is none of ours.

What conversations need of any link stands in ``Hub``; ``message_hub`` has it for links that carry whole messages.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Protocol

import msgspec

from asleft.codec.isotp import IsoTpConfig
from asleft.codec.isotp.addressing import Lane as End
from asleft.codec.isotp.frames import make_single, padded, single_room
from asleft.link.abilities import Stop, TellsLoss, TellsSent
from asleft.model.errors import AsleftError, Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress
from asleft.ports.bus import Link
from asleft.ports.clock import Clock

from .addresses import NARROW_REQUEST, WIDE_REQUEST, responder, transport
from .lane import CanLane, Lane
from .load import BusLoad

_WIDE = 1 << 31


class Hub(Protocol):
    """Lanes on one link, and requests to everybody on it."""

    on_newcomer: Callable[[ModuleAddress], bool] | None
    on_everybody_sent: Callable[[float], None] | None
    on_everybody_failed: Callable[[AsleftError], None] | None
    loss: LinkError | None
    deaf: bool

    @property
    def load(self) -> BusLoad | None:
        """How full the bus is; None where that cannot be heard."""
        ...

    @property
    def confirms(self) -> bool:
        """The link tells when a message is out."""
        ...

    @property
    def most_at_once(self) -> int:
        """Requests that may be on their way at a time by the nature of the link."""
        ...

    def lane(self, address: ModuleAddress) -> Lane:
        """The lane to a module, made when it is not there yet."""
        ...

    def may_answer_all(self, address: ModuleAddress, *, wide: bool) -> bool:
        """Whether an answer to a request to everybody may come from there."""
        ...

    def send_to_all(self, request: bytes, *, wide: bool) -> None:
        """Send a request to everybody. Raises LinkError."""
        ...

    def close(self) -> None:
        """Stop hearing."""
        ...


class CanHub:
    """Lanes on one CAN link.

    Args:
        link: open.
        clock: the link's.
        config: of all transfers.

    Attributes:
        on_newcomer: asked about an OBD module that has no lane yet; it may add one and say so.
        on_everybody_sent: called when a frame of none of the lanes is on the wire (a request to everybody).
        loss: the error, once the link is gone.
        deaf: answers are another tester's: not taken in, and above all not told to go on by a flow control of ours.
        load: how full the bus is.
    """

    most_at_once = 256

    def __init__(self, link: Link, clock: Clock, config: IsoTpConfig) -> None:
        self.link = link
        self.on_newcomer: Callable[[ModuleAddress], bool] | None = None
        self.on_everybody_sent: Callable[[float], None] | None = None
        self.on_everybody_failed: Callable[[AsleftError], None] | None = None
        self.loss: LinkError | None = None
        self.deaf = False
        self.load = BusLoad(getattr(link, "bitrate", None) or 500_000)
        self._clock = clock
        self._config = _config_for(link, config)
        self._by_rx = _Lanes()
        self._by_tx = _Lanes()
        self._stops: list[Stop] = [link.listen(self._on_frame)]
        self.confirms = bool(getattr(link, "confirms", False)) and isinstance(link, TellsSent)
        if self.confirms and isinstance(link, TellsSent):
            self._stops.append(link.when_sent(self._on_sent))
        if isinstance(link, TellsLoss):
            self._stops.append(link.when_lost(self._on_lost))

    def lane(self, address: ModuleAddress) -> CanLane:
        """The lane to a module, made when it is not there yet; a pair of identifiers has one, whatever its name."""
        pair = transport(address)
        lane = self._by_rx.at(pair.rx, wide=pair.wide)
        if lane is not None and lane.address.tx == pair.tx:
            return lane
        lane = CanLane(self.link, self._clock, pair, self._config, confirms=self.confirms)
        self._by_rx.put(pair.rx, lane)
        self._by_tx.put(pair.tx, lane)
        return lane

    def may_answer_all(self, address: ModuleAddress, *, wide: bool) -> bool:
        """Whether this is an OBD module of that identifier width."""
        known = responder(address.response_id, wide=wide) if address.extended == wide else None
        return known is not None and known.place == address.place

    def send_to_all(self, request: bytes, *, wide: bool) -> None:
        """One frame on the functional identifier. Raises LinkError: too long, or link-lost."""
        if len(request) > single_room(8, 0):
            raise LinkError(Code.FRAME_INVALID, f"{len(request)} bytes to everybody; one frame holds 7")
        data = padded(make_single(request, 8, 0), self._config.padding)
        self.link.send(CanFrame(WIDE_REQUEST if wide else NARROW_REQUEST, data, wide, self._config.fd))

    def close(self) -> None:
        """Stop hearing."""
        for stop in self._stops:
            stop()
        self._stops.clear()
        for lane in self._by_rx:
            lane.forget()

    def _on_frame(self, frame: CanFrame) -> None:
        self.load.add(frame, frame.time_s or 0.0)
        if self.deaf:
            return
        lane = self._by_rx.of(frame)
        if lane is not None:
            lane.on_frame(frame)
        elif self.on_newcomer is not None:
            address = responder(frame.id, wide=frame.extended)
            if address is not None and self.on_newcomer(address):
                self.lane(address).on_frame(frame)

    def _on_sent(self, frame: CanFrame) -> None:
        time_s = frame.time_s if frame.time_s is not None else self._clock.now()
        self.load.add(frame, time_s)
        lane = self._by_tx.of(frame)
        if lane is not None:
            lane.on_confirmed(frame.data, time_s)
        elif self.on_everybody_sent is not None:
            self.on_everybody_sent(time_s)

    def _on_lost(self, error: LinkError) -> None:
        self.loss = error
        for lane in tuple(self._by_rx):
            lane.on_lost(error)


class _Lanes:
    """Lanes by identifier, and by address byte where there is one."""

    def __init__(self) -> None:
        self._plain: dict[int, CanLane] = {}
        self._prefixed: dict[int, dict[int, CanLane]] = {}

    def put(self, end: End, lane: CanLane) -> None:
        """Frames of this end belong to this lane from now on."""
        key = end.id | _WIDE if lane.address.wide else end.id
        if end.prefix is None:
            self._plain[key] = lane
        else:
            self._prefixed.setdefault(key, {})[end.prefix] = lane

    def at(self, end: End, *, wide: bool) -> CanLane | None:
        """The lane of an end."""
        key = end.id | _WIDE if wide else end.id
        return self._plain.get(key) if end.prefix is None else self._prefixed.get(key, {}).get(end.prefix)

    def of(self, frame: CanFrame) -> CanLane | None:
        """The lane that a frame belongs to."""
        key = frame.id | _WIDE if frame.extended else frame.id
        lane = self._plain.get(key)
        if lane is None and self._prefixed and frame.data:
            lane = self._prefixed.get(key, {}).get(frame.data[0])
        return lane

    def __iter__(self) -> Iterator[CanLane]:
        yield from self._plain.values()
        for lanes in self._prefixed.values():
            yield from lanes.values()


def _config_for(link: Link, config: IsoTpConfig) -> IsoTpConfig:
    """Transfers in CAN FD frames where the link was opened for them."""
    length = int(getattr(link, "fd_length", 0))
    if not length or config.fd:
        return config
    return msgspec.structs.replace(config, fd=True, frame_length=length)
