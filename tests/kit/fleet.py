"""Many control modules behind an optional gateway on bit-timed buses: what speed and completeness are measured on.

Each seed is another car: identifiers of 8 to 30 bytes, trouble codes, 3 to 25 ms latency; one module is silent, one
refuses every read, four answer with response pending first.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from asleft.bench.address import Address
from asleft.bench.bus import InLoopBus
from asleft.bench.can_bits import frame_bits
from asleft.bench.gateway import Gateway, Overload
from asleft.bench.identifiers import IdentifierService, stored
from asleft.bench.memory import Memory
from asleft.bench.module import ControlModule
from asleft.bench.service import Conversation, Later
from asleft.bench.sessions import Timing
from asleft.bench.trouble_memory import TroubleCode
from asleft.job.clock import LoopClock
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress

IDENTIFIERS = (0xF187, 0xF188, 0xF189, 0xF18C, 0xF190, 0xF191)
BITRATE = 500_000
PENDING_S = 0.1
CODES_REQUEST = bytes.fromhex("19020D")


@dataclass
class FleetModule:
    """One module and its truth.

    Attributes:
        address: where it is.
        answers: request to the true answer; empty for the silent one.
        refuses: every read is refused with 11.
        latency_s: mean time to answer, s.
        pending: says response pending first.
    """

    address: ModuleAddress
    answers: dict[bytes, bytes] = field(default_factory=dict)
    refuses: bool = False
    silent: bool = False
    latency_s: float = 0.0
    pending: bool = False


class SlowReads:
    """Service 22 of a module that needs longer for its first identifier: response pending first."""

    sids = (0x22,)

    def __init__(self, inner: IdentifierService) -> None:
        self._inner = inner

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """As the inner one, later where the slow identifier is among those asked."""
        if IDENTIFIERS[0].to_bytes(2, "big") in (request[i : i + 2] for i in range(1, len(request), 2)):
            raise Later(PENDING_S, lambda: self._inner.handle(request, talk))
        return self._inner.handle(request, talk)


class Fleet:
    """A car with many modules.

    Args:
        clock: drives it.
        seed: which car.
        modules: how many.
        limit: requests that its gateway bears; None: no gateway.
        overload: what it does beyond.
    """

    def __init__(
        self,
        clock: LoopClock,
        seed: int,
        modules: int = 48,
        limit: int | None = None,
        overload: Overload = Overload.DROP,
    ) -> None:
        self.bus = InLoopBus(clock, BITRATE)
        self.modules: list[FleetModule] = []
        self._clock = clock
        self._rng = random.Random(seed)
        self._inner = self.bus if limit is None else InLoopBus(clock, BITRATE)
        self._gateway = None if limit is None else Gateway(clock, self.bus, limit=limit, overload=overload)
        self._hosted: list[ControlModule] = []
        special = self._rng.sample(range(modules), 6)
        for index in range(modules):
            place = special.index(index) if index in special else -1
            self.modules.append(self._module(index, silent=place == 0, refuses=place == 1, pending=place >= 2))

    def _module(self, index: int, *, silent: bool, refuses: bool, pending: bool) -> FleetModule:
        rng = self._rng
        address = ModuleAddress(f"module {index}", 0x400 + 2 * index, 0x401 + 2 * index)
        latency_s = rng.uniform(0.003, 0.025)
        where = Address.normal(address.request_id, address.response_id)
        if self._gateway is not None:
            self._gateway.route(self._inner, where)
        found = FleetModule(address, refuses=refuses, silent=silent, latency_s=latency_s, pending=pending)
        if silent:
            return found
        contents = {did: rng.randbytes(rng.randint(8, 30)) for did in IDENTIFIERS}
        codes = rng.sample(range(0x900000, 0x9FFF00), rng.randint(0, 6))
        identifiers = [stored(did, f"{did:04X}", data) for did, data in contents.items()]
        module = ControlModule(
            address.name,
            where,
            identifiers=identifiers,
            codes=[TroubleCode(code, "invented", lambda: True) for code in codes],
            timing=Timing(latency_s=latency_s * 0.9, jitter_s=latency_s * 0.2, block_size=0),
            services=[SlowReads(IdentifierService(identifiers, Memory()))] if pending else [],
            without=frozenset({0x22, 0x19}) if refuses else frozenset(),
        )
        module.attach(self._inner, self._clock)
        module.power_on()
        self._hosted.append(module)
        for did, data in contents.items():
            request = b"\x22" + did.to_bytes(2, "big")
            found.answers[request] = b"\x7f\x22\x11" if refuses else b"\x62" + request[1:] + data
        found.answers[CODES_REQUEST] = b"\x7f\x19\x11"  # of the others known when the codes have come
        return found

    async def ready(self) -> None:
        """Let the modules boot and their codes come; then the truth is complete."""
        for _ in range(20):
            await self._clock.sleep_until(self._clock.now() + 0.1)
            for module in self._hosted:
                module.poll()
        truth = {module.address.request: module for module in self._hosted}
        for module in self.modules:
            if not module.silent and not module.refuses:
                answer = truth[module.address.request_id].handle(CODES_REQUEST)
                assert answer is not None
                module.answers[CODES_REQUEST] = answer

    @property
    def requests(self) -> tuple[bytes, ...]:
        """What is asked of every module."""
        return (*(b"\x22" + did.to_bytes(2, "big") for did in IDENTIFIERS), CODES_REQUEST)

    def bound_s(self) -> float:
        """No client can be faster: all frames of the true answers one after the other on the plug's bus without a gap,
        or the slowest module's requests one after the other, whichever is longer, s.
        """
        bits = [sum(_bits(m, r, a) for r, a in m.answers.items()) for m in self.modules]
        chains = [
            b / BITRATE + len(m.answers) * m.latency_s * 0.9 + (PENDING_S if m.pending else 0.0)
            for b, m in zip(bits, self.modules, strict=True)
        ]
        return max(sum(bits) / BITRATE, *chains)

    def stop(self) -> None:
        """Leave the bus."""
        for module in self._hosted:
            module.detach()


def _bits(module: FleetModule, request: bytes, answer: bytes) -> int:
    """Bits of one exchange on the bus, response pending included."""
    bits = exchange_bits(module.address, request, answer)
    if module.pending and request == b"\x22" + IDENTIFIERS[0].to_bytes(2, "big"):
        bits += frame_bits(module.address.response_id, bytes.fromhex("037F2278CCCCCCCC"))
    return bits


def exchange_bits(address: ModuleAddress, request: bytes, answer: bytes) -> int:
    """Bits of request, answer and flow control on the bus."""
    frames = [*_frames(address.request_id, request), *_frames(address.response_id, answer)]
    for sender, payload in ((address.request_id, answer), (address.response_id, request)):
        if len(payload) > 7:
            frames.append(CanFrame(sender, bytes.fromhex("300000CCCCCCCCCC")))
    return sum(frame_bits(frame.id, frame.data) for frame in frames)


def _frames(identifier: int, payload: bytes) -> list[CanFrame]:
    """Frames of one message (ISO 15765-2, classic, padded), written out once more for the bound."""
    if len(payload) <= 7:
        return [CanFrame(identifier, (bytes((len(payload),)) + payload).ljust(8, b"\xcc"))]
    pieces = [payload[i : i + 7] for i in range(6, len(payload), 7)]
    rest = [(bytes((0x20 | (n & 15),)) + piece).ljust(8, b"\xcc") for n, piece in enumerate(pieces, 1)]
    first = bytes((0x10 | len(payload) >> 8, len(payload) & 0xFF)) + payload[:6]
    return [CanFrame(identifier, data) for data in (first, *rest)]
