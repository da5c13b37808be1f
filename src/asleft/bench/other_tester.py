"""Another tester on the same car: it asks what it was told to, and does not care who else does.

OtherTester(bus, clock, Address.normal(0x7E0, 0x7E8), [(2.0, b"\\x14\\xff\\xff\\xff")])
"""

from __future__ import annotations

from collections.abc import Iterable

from asleft.ports.bus import Bus
from asleft.ports.clock import Clock, Timer

from .address import Address
from .transport import IsoTpNode, TransportSettings


class OtherTester:
    """Sends requests at given times.

    Args:
        bus, clock: where it is plugged in.
        address: the module it asks.
        script: (s from now, request) each.
        every_s: repeats the whole script after this long, s; None: once.

    Attributes: heard: answers it took, its own and those meant for others.
    """

    def __init__(
        self,
        bus: Bus,
        clock: Clock,
        address: Address,
        script: Iterable[tuple[float, bytes]],
        every_s: float | None = None,
    ) -> None:
        self.heard: list[bytes] = []
        self._clock = clock
        self._script = tuple(script)
        self._every_s = every_s
        self._timers: list[Timer] = []
        settings = TransportSettings(address.response, address.request, address.extended, address.functional)
        self._node = IsoTpNode(bus, clock, settings, self._hear, name="other tester")
        self._plan()

    def unplug(self) -> None:
        """Gone."""
        for timer in self._timers:
            timer.cancel()
        self._node.leave()

    def _hear(self, answer: bytes, _functional: bool) -> None:
        self.heard.append(answer)

    def _plan(self) -> None:
        now_s = self._clock.now()
        self._timers = [
            self._clock.call_at(now_s + after_s, lambda request=request: self._node.send(request))
            for after_s, request in self._script
        ]
        if self._every_s is not None:
            self._timers.append(self._clock.call_at(now_s + self._every_s, self._plan))
