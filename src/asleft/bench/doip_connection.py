"""One tester's TCP connection to a DoIP entity: routing activation, then diagnostic messages."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Protocol

from asleft.ports.clock import Clock, Timer

from .answering import Answering
from .doip_messages import HEADER, NACK_LENGTH, NACK_PATTERN, Entity, Kind, addresses, encode, flaw
from .module import ControlModule

#: A connection that does not activate routing within this time is closed (ISO 13400-2, recalled), s.
INITIAL_INACTIVITY_S = 2.0
#: How long an alive check may take, s.
ALIVE_S = 0.5
_LIMIT = 4096

_ACTIVATED, _UNKNOWN_SOURCE, _NO_SOCKET, _OTHER_SOURCE, _SOURCE_IN_USE, _NO_SUCH_TYPE = (
    0x10,
    0x00,
    0x01,
    0x02,
    0x03,
    0x06,
)
_NACK_SOURCE, _NACK_TARGET, _NACK_UNREACHABLE = 0x02, 0x03, 0x06


class Serving(Protocol):
    """What a connection needs of its server."""

    clock: Clock
    entity: Entity
    sockets: int

    @property
    def connections(self) -> Sequence[Connection]:
        """All open connections, this one too."""
        ...

    def may_activate(self, tester: int) -> bool:
        """Whether this source address is known."""
        ...

    def targets(self, address: int) -> list[ControlModule]:
        """Modules behind a logical address."""
        ...

    def address_of(self, module: ControlModule) -> int:
        """Logical address of a module."""
        ...


class Connection:
    """One connection. Attributes: tester: source address once routing is active, else None."""

    def __init__(self, server: Serving, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.tester: int | None = None
        self._server = server
        self._reader = reader
        self._writer = writer
        self._channels: dict[ControlModule, Answering] = {}
        self._alive = asyncio.Event()
        self._idle: Timer = server.clock.call_at(server.clock.now() + INITIAL_INACTIVITY_S, self._too_idle)

    def close(self) -> None:
        """Hang up; safe to call twice."""
        self._idle.cancel()
        for module, channel in self._channels.items():
            module.close_channel(channel)
        self._channels.clear()
        self._writer.close()

    async def run(self) -> None:
        """Take messages until one side hangs up."""
        while True:
            version, inverse, kind, length = HEADER.unpack(await self._reader.readexactly(HEADER.size))
            fault = flaw(version, inverse, kind, length, _LIMIT)
            if fault is not None:
                self._send(Kind.NACK, bytes([fault]))
                if fault in {NACK_PATTERN, NACK_LENGTH}:
                    return  # nobody knows where the next message begins
                await self._reader.readexactly(length)
                continue
            payload = await self._reader.readexactly(length)
            if not await self._take(kind, payload):
                return

    async def check_alive(self) -> bool:
        """Ask whether the tester is still there."""
        self._alive.clear()
        self._send(Kind.ALIVE)
        try:
            await asyncio.wait_for(self._alive.wait(), ALIVE_S)
        except TimeoutError:
            return False
        return True

    def _too_idle(self) -> None:
        if self.tester is None:
            self.close()

    def _send(self, kind: int, payload: bytes = b"") -> None:
        if not self._writer.is_closing():
            self._writer.write(encode(kind, payload))

    async def _take(self, kind: int, payload: bytes) -> bool:
        """Deal with one message; False: hang up."""
        match kind:
            case Kind.ACTIVATE:
                return await self._activate(payload)
            case Kind.ALIVE_ANSWER:
                self._alive.set()
            case Kind.DIAGNOSTIC:
                self._diagnostic(payload)
            case _:
                self._send(Kind.NACK, b"\x01")
        return True

    async def _activate(self, payload: bytes) -> bool:
        tester = int.from_bytes(payload[:2], "big")
        code = await self._activation_code(tester, payload[2])
        head = addresses(tester, self._server.entity.address)
        self._send(Kind.ACTIVATED, head + bytes([code]) + bytes(4))
        if code != _ACTIVATED:
            await self._writer.drain()
            return False
        self.tester = tester
        self._idle.cancel()
        return True

    async def _activation_code(self, tester: int, kind: int) -> int:
        if not self._server.may_activate(tester):
            return _UNKNOWN_SOURCE
        if kind not in {0x00, 0x01}:
            return _NO_SUCH_TYPE
        if self.tester not in {None, tester}:
            return _OTHER_SOURCE
        for other in tuple(self._server.connections):
            if other is not self and other.tester == tester:
                if await other.check_alive():
                    return _SOURCE_IN_USE
                other.close()
        active = sum(other.tester is not None for other in self._server.connections if other is not self)
        return _NO_SOCKET if active >= self._server.sockets else _ACTIVATED

    def _diagnostic(self, payload: bytes) -> None:
        source, target = int.from_bytes(payload[:2], "big"), int.from_bytes(payload[2:4], "big")
        head = addresses(target, source)
        modules = self._server.targets(target)
        if source != self.tester:
            self._send(Kind.DIAGNOSTIC_NACK, head + bytes([_NACK_SOURCE]))
        elif not modules:
            self._send(Kind.DIAGNOSTIC_NACK, head + bytes([_NACK_TARGET]))
        elif not any(module.awake for module in modules):
            self._send(Kind.DIAGNOSTIC_NACK, head + bytes([_NACK_UNREACHABLE]))
        else:
            self._send(Kind.DIAGNOSTIC_ACK, head + b"\x00")
            for module in modules:
                module.bring_to_now()
                functional = self._server.address_of(module) != target
                self._channel(module).request(payload[4:], functional=functional)

    def _channel(self, module: ControlModule) -> Answering:
        channel = self._channels.get(module)
        if channel is None:
            own = self._server.address_of(module)

            def answer(data: bytes) -> None:
                if self.tester is not None:
                    self._send(Kind.DIAGNOSTIC, addresses(own, self.tester) + data)

            channel = module.open_channel(answer)
            self._channels[module] = channel
        return channel
