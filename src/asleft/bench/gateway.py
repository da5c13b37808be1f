"""A gateway between the diagnostic plug's bus and the buses inside a bench car.

It passes diagnostic frames on, holds a bounded number of requests in flight, and refuses, queues or drops the rest::

    gateway = Gateway(clock, plug_bus, limit=4, overload=Overload.QUEUE)
    gateway.route(body_bus, Address.normal(0x740, 0x748))

A request is in flight from its first frame until its answer is complete (response pending keeps it), or until
``timeout_s`` without one. Functional requests go to all buses and are not counted.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum, unique

from asleft.model.errors import LinkError
from asleft.model.frame import CanFrame
from asleft.ports.bus import Bus, BusNode
from asleft.ports.clock import Clock, Timer

from .address import Address

_SINGLE, _FIRST, _CONSECUTIVE, _FLOW = range(4)
_BUSY, _DENIED = 0x21, 0x33
_PENDING = 0x78


@unique
class Overload(StrEnum):
    """What a gateway does with a request beyond its limit."""

    REFUSE = "refuse"
    QUEUE = "queue"
    DROP = "drop"


@dataclass(frozen=True)
class InnerBus:
    """A bus behind a car's gateway: bit rate, and the names of the modules on it."""

    modules: tuple[str, ...]
    bitrate: int = 500_000


@dataclass(frozen=True)
class GatewaySettings:
    """How a car's gateway is built: inner buses by name, and what `Gateway` takes."""

    buses: Mapping[str, InnerBus]
    limit: int = 8
    overload: Overload = Overload.QUEUE
    delay_s: float = 0.0005
    timeout_s: float = 5.0
    denied: frozenset[int] = frozenset()


@dataclass
class _Route:
    """The way to one module, and what is under way on it."""

    address: Address
    inner: BusNode
    in_flight: bool = False
    left: int = 0
    waiting: deque[CanFrame] = field(default_factory=deque[CanFrame])
    timer: Timer | None = None


@dataclass
class GatewayCounts:
    """What happened since it was made."""

    passed: int = 0
    queued: int = 0
    refused: int = 0
    dropped: int = 0


class Gateway:
    """The gateway.

    Args:
        clock: drives it.
        plug: bus of the diagnostic plug.
        limit: requests in flight at once.
        overload: what it does beyond.
        delay_s: from a frame heard to the same frame queued on the other side, s.
        timeout_s: a request without an answer is given up after this long, s.
        denied: service identifiers it does not let pass (it answers 33 itself), as a secured gateway does.

    Attributes: hidden: modules that it does not know and passes nothing to or from.
    """

    def __init__(
        self,
        clock: Clock,
        plug: Bus,
        *,
        limit: int = 8,
        overload: Overload = Overload.QUEUE,
        delay_s: float = 0.0005,
        timeout_s: float = 5.0,
        denied: frozenset[int] = frozenset(),
    ) -> None:
        self.limit = limit
        self.overload = overload
        self.denied = denied
        self.counts = GatewayCounts()
        self.hidden: frozenset[Address] = frozenset()
        self._clock = clock
        self._delay_s = delay_s
        self._timeout_s = timeout_s
        self._outer = plug.join("gateway, plug side", self._from_plug)
        self._inner: dict[int, BusNode] = {}
        self._by_request: dict[tuple[int, bool], _Route] = {}
        self._by_response: dict[tuple[int, bool], _Route] = {}
        self._functional: set[tuple[int, bool]] = set()
        self._queue: deque[_Route] = deque()

    def route(self, bus: Bus, address: Address) -> None:
        """Pass on what goes to and comes from this address on ``bus``."""
        node = self._inner.get(id(bus))
        if node is None:
            node = bus.join("gateway, inner side", self._from_inside)
            self._inner[id(bus)] = node
        route = _Route(address, node)
        self._by_request[address.request, address.extended] = route
        self._by_response[address.response, address.extended] = route
        self._functional.update((number, address.extended) for number in address.functional)

    def close(self) -> None:
        """Leave all buses and forget what is under way."""
        self._outer.leave()
        for node in self._inner.values():
            node.leave()
        for route in self._by_request.values():
            if route.timer is not None:
                route.timer.cancel()

    @property
    def in_flight(self) -> int:
        """Requests on their way or being worked on."""
        return sum(route.in_flight for route in self._by_request.values())

    # -- from the tester -------------------------------------------------------------------------------------------

    def _from_plug(self, frame: CanFrame) -> None:
        key = (frame.id, frame.extended)
        if key in self._functional:
            for node in self._inner.values():
                self._pass(node, frame)
            return
        route = self._by_request.get(key)
        if route is None or not frame.data or route.address in self.hidden:
            return
        kind = frame.data[0] >> 4
        if kind in {_SINGLE, _FIRST}:
            self._request(route, frame, kind)
        elif route.waiting and kind == _CONSECUTIVE:
            route.waiting.append(frame)
        else:
            self._pass(route.inner, frame)

    def _request(self, route: _Route, frame: CanFrame, kind: int) -> None:
        service = frame.data[1 if kind == _SINGLE else 2 : 3]
        if service and service[0] in self.denied:
            self._refuse(route, service[0], kind, _DENIED)
        elif route.in_flight or self.in_flight < self.limit:
            self._forward(route, frame)
        elif self.overload is Overload.QUEUE:
            self.counts.queued += 1
            route.waiting.append(frame)
            self._queue.append(route)
        elif self.overload is Overload.REFUSE:
            self._refuse(route, service[0] if service else 0, kind, _BUSY)
        else:
            self.counts.dropped += 1

    def _forward(self, route: _Route, frame: CanFrame) -> None:
        self.counts.passed += 1
        route.in_flight = True
        self._watch(route)
        self._pass(route.inner, frame)

    def _refuse(self, route: _Route, service: int, kind: int, nrc: int) -> None:
        """In the module's name: busy or denied; a long request is stopped by overflow in the flow control."""
        self.counts.refused += 1
        data = bytes([3, 0x7F, service, nrc]) if kind == _SINGLE else b"\x32\x00\x00"
        self._pass(self._outer, CanFrame(route.address.response, data.ljust(8, b"\x00"), route.address.extended))

    # -- from the modules ------------------------------------------------------------------------------------------

    def _from_inside(self, frame: CanFrame) -> None:
        route = self._by_response.get((frame.id, frame.extended))
        if route is None or not frame.data or route.address in self.hidden:
            return
        self._pass(self._outer, frame)
        match frame.data[0] >> 4:
            case kind if kind == _SINGLE:
                if frame.data[1:4:2] == bytes([0x7F, _PENDING]):
                    self._watch(route)
                else:
                    self._done(route)
            case kind if kind == _FIRST:
                route.left = ((frame.data[0] & 0x0F) << 8 | frame.data[1]) - 6
                self._watch(route)
            case kind if kind == _CONSECUTIVE:
                route.left -= 7
                if route.left <= 0:
                    self._done(route)
            case _:
                self._watch(route)

    def _watch(self, route: _Route) -> None:
        if route.timer is not None:
            route.timer.cancel()
        route.timer = self._clock.call_at(self._clock.now() + self._timeout_s, lambda: self._done(route))

    def _done(self, route: _Route) -> None:
        if route.timer is not None:
            route.timer.cancel()
            route.timer = None
        route.in_flight = False
        while self._queue and self.in_flight < self.limit:
            waiting = self._queue.popleft()
            frames, waiting.waiting = waiting.waiting, deque()
            if frames:
                self._forward(waiting, frames.popleft())
                for frame in frames:
                    self._pass(waiting.inner, frame)

    def _pass(self, node: BusNode, frame: CanFrame) -> None:
        def send() -> None:
            with contextlib.suppress(LinkError):  # a bus that is off or full swallows it, as a gateway would
                node.send(CanFrame(frame.id, frame.data, frame.extended))

        self._clock.call_at(self._clock.now() + self._delay_s, send)
