"""A bench car on DoIP (ISO 13400-2): TCP and UDP on the loopback interface, in real time.

    server = DoipServer(clock, Entity(vin), {0x1001: engine, 0x1010: brakes})
    tcp_port, udp_port = await server.open()

Every module has a logical address; requests to it go to the same server that CAN requests go to. Not modelled:
encrypted connections, announcements by broadcast, authentication.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import cast

from asleft.ports.clock import Clock

from .doip_connection import Connection
from .doip_messages import HEADER, NACK_LENGTH, Entity, Kind, encode, flaw
from .module import ControlModule

_LOOPBACK = "127.0.0.1"
#: Largest request taken, bytes.
LIMIT = 4096
#: Functional address: all modules (group address of ISO 13400-2, recalled).
FUNCTIONAL = 0xE400


class DoipServer:
    """Serves one car.

    Args:
        clock: of the car.
        entity: who answers.
        modules: logical address -> module.
        testers: source addresses that may activate routing; empty: 0E00 to 0EFF.
        sockets: how many testers at once.
    """

    def __init__(
        self,
        clock: Clock,
        entity: Entity,
        modules: Mapping[int, ControlModule],
        testers: frozenset[int] = frozenset(),
        sockets: int = 4,
    ) -> None:
        self.clock = clock
        self.entity = entity
        self.modules = dict(modules)
        self.sockets = sockets
        self._testers = testers or frozenset(range(0x0E00, 0x0F00))
        self._server: asyncio.Server | None = None
        self._udp: asyncio.DatagramTransport | None = None
        self.connections: list[Connection] = []
        self._tasks: set[asyncio.Task[None]] = set()

    async def open(self, tcp_port: int = 0, udp_port: int = 0) -> tuple[int, int]:
        """Listen on loopback, on free ports when 0; gives both ports."""
        self._server = await asyncio.start_server(self._serve, _LOOPBACK, tcp_port)
        loop = asyncio.get_running_loop()
        self._udp, _ = await loop.create_datagram_endpoint(lambda: _Datagrams(self), local_addr=(_LOOPBACK, udp_port))
        return self._server.sockets[0].getsockname()[1], self._udp.get_extra_info("sockname")[1]

    async def close(self) -> None:
        """Drop everybody and stop listening."""
        if self._udp is not None:
            self._udp.close()
        if self._server is not None:
            self._server.close()
            for connection in tuple(self.connections):
                connection.close()
            await asyncio.gather(*self._tasks, return_exceptions=True)
            await self._server.wait_closed()

    def may_activate(self, tester: int) -> bool:
        """Whether this source address is known."""
        return tester in self._testers

    def targets(self, address: int) -> list[ControlModule]:
        """Modules behind a logical address: one, all of them, or none."""
        if address == FUNCTIONAL:
            return [module for module in self.modules.values() if module.awake]
        return [self.modules[address]] if address in self.modules else []

    def address_of(self, module: ControlModule) -> int:
        """Logical address of a module."""
        return next(address for address, known in self.modules.items() if known is module)

    def ready(self) -> bool:
        """Power mode: some module is awake."""
        return any(module.awake for module in self.modules.values())

    def answer_datagram(self, data: bytes) -> bytes | None:
        """What one UDP request is answered with."""
        if len(data) < HEADER.size:
            return encode(Kind.NACK, bytes([NACK_LENGTH]))
        version, inverse, kind, length = HEADER.unpack_from(data)
        payload = data[HEADER.size :]
        fault = flaw(version, inverse, kind, length, LIMIT)
        if fault is None and length != len(payload):
            fault = NACK_LENGTH
        if fault is not None:
            return encode(Kind.NACK, bytes([fault]))
        match kind:
            case Kind.IDENTIFY:
                return encode(Kind.ANNOUNCEMENT, self.entity.announcement())
            case Kind.IDENTIFY_VIN | Kind.IDENTIFY_EID:
                mine = payload in {self.entity.vin.encode("ascii"), self.entity.eid}
                return encode(Kind.ANNOUNCEMENT, self.entity.announcement()) if mine else None
            case Kind.STATUS:
                numbers = bytes([0x00, self.sockets, len(self.connections)]) + LIMIT.to_bytes(4, "big")
                return encode(Kind.STATUS_ANSWER, numbers)
            case Kind.POWER:
                return encode(Kind.POWER_ANSWER, bytes([1 if self.ready() else 0]))
            case _:
                return None

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is not None:
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        connection = Connection(self, reader, writer)
        self.connections.append(connection)
        try:
            with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError):
                await connection.run()
        finally:
            connection.close()
            self.connections.remove(connection)


class _Datagrams(asyncio.DatagramProtocol):
    def __init__(self, server: DoipServer) -> None:
        self._server = server
        self._transport: asyncio.DatagramTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.DatagramTransport, transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        answer = self._server.answer_datagram(data)
        if answer is not None and self._transport is not None:
            self._transport.sendto(answer, addr)
