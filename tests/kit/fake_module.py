"""Scripted control modules on the in-loop bus, on can-isotp: independent of our own codec.

``script`` gets each request and gives what to answer and when: ``[(0.005, bytes.fromhex("62F190…"))]``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from asleft.bench.bus import InLoopBus
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.job.clock import LoopClock
from asleft.link.bus_link import BusLink
from asleft.model.effect import Receipt
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin
from asleft.ports.bus import BusNode, Listener

Script = Callable[[bytes], Iterable[tuple[float, bytes]]]

ENGINE = ModuleAddress("engine", 0x7E0, 0x7E8)
BRAKES = ModuleAddress("brakes", 0x7E1, 0x7E9)
BODY = ModuleAddress("body", 0x740, 0x748)


def silent(request: bytes) -> list[tuple[float, bytes]]:
    """Never answers."""
    return []


def table(answers: dict[str, str], delay_s: float = 0.005) -> Script:
    """Answers by request, in hexadecimal; what is not in the table is refused with 31."""

    def script(request: bytes) -> list[tuple[float, bytes]]:
        answer = answers.get(request.hex().upper())
        data = bytes.fromhex(answer) if answer is not None else bytes((0x7F, request[0], 0x31))
        return [(delay_s, data)]

    return script


def in_turn(*rounds: list[tuple[float, str]]) -> Script:
    """The first request gets the first round of answers, and so on; the last round stays."""
    left = list(rounds)

    def script(request: bytes) -> list[tuple[float, bytes]]:
        answers = left.pop(0) if len(left) > 1 else left[0]
        return [(delay_s, bytes.fromhex(text)) for delay_s, text in answers]

    return script


class FakeModule:
    """One scripted module.

    Attributes:
        heard: time and bytes of every request.
        working: requests it has and has not answered yet (by the script's last delay).
        most_working: largest value of that, over all modules that share ``tally``.
    """

    def __init__(
        self,
        bus: InLoopBus,
        clock: LoopClock,
        address: ModuleAddress,
        script: Script,
        *,
        functional: tuple[int, ...] = (0x7DF,),
        block_size: int = 8,
        stmin: int = 0,
    ) -> None:
        self.address = address
        self.script = script
        self.heard: list[tuple[float, bytes]] = []
        self.gone = False
        self._clock = clock
        settings = TransportSettings(
            address.request_id, address.response_id, address.extended, functional, stmin=stmin, block_size=block_size
        )
        self.node = IsoTpNode(bus, clock, settings, self._on_message, name=address.name, hears=lambda: not self.gone)

    @property
    def requests(self) -> list[str]:
        """What was heard, in hexadecimal."""
        return [data.hex().upper() for _, data in self.heard]

    def raw(self, data: str) -> None:
        """Send one frame as it stands."""
        self.node.node.send(CanFrame(self.address.response_id, bytes.fromhex(data), self.address.extended))

    def _on_message(self, request: bytes, functional: bool) -> None:
        self.heard.append((self._clock.now(), request))
        for delay_s, answer in self.script(request):
            self._clock.call_at(self._clock.now() + delay_s, lambda answer=answer: self._answer(answer))

    def _answer(self, answer: bytes) -> None:
        if not self.gone:
            self.node.send(answer)


class Tap:
    """Hears every frame on a bus: what really went out."""

    def __init__(self, bus: InLoopBus) -> None:
        self.frames: list[CanFrame] = []
        bus.join("tap", self.frames.append)

    def sent(self, *identifiers: int) -> list[str]:
        """Data of the frames with these identifiers, in hexadecimal."""
        return [frame.data.hex().upper() for frame in self.frames if frame.id in identifiers]


class OtherOrigin:
    """The in-loop bus, saying that it comes from elsewhere: for tests of what only a vehicle or a recording does."""

    def __init__(self, bus: InLoopBus, origin: Origin) -> None:
        self._bus = bus
        self._origin = origin

    @property
    def origin(self) -> Origin:
        return self._origin

    def join(self, name: str, listener: Listener) -> BusNode:
        return self._bus.join(name, listener)


async def open_link(bus: InLoopBus, clock: LoopClock) -> BusLink:
    """A link on the bus, open."""
    link = BusLink(bus, clock)
    await link.open()
    return link


def receipt(target: ModuleAddress, payload: str, token: str = "t") -> Receipt:
    """A receipt as a journal would give."""
    return Receipt("J", "i1", 7, target, payload, token)
