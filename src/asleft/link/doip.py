"""Diagnostics over IP: one TCP connection to a car's entity, as a MessageLink.

Use::

    link = DoipLink("192.168.5.20", clock, tester=0x0E00)
    await link.open()          # connects and activates routing
    link.send(0x1001, bytes.fromhex("22F190"))

Alive checks are answered by themselves. The entity's acknowledgement counts as the moment the request went out; when it
does not take a message, that message fails and the link goes on. Origin: vehicle, always.

Source: ISO 13400-2:2012 (recalled); times there: routing activation 2 s, diagnostic acknowledgement 2 s.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from asleft.codec.doip import (
    ActivationAnswer,
    ActivationRequest,
    AliveAnswer,
    AliveRequest,
    Diagnostic,
    DiagnosticAck,
    DiagnosticNack,
    DoipBroken,
    DoipMessage,
    DoipSplitter,
    GenericNack,
    encode,
)
from asleft.codec.doip.wire import DoipItem
from asleft.codec.doip.words import ACTIVATION, DIAGNOSTIC_NACK, GENERIC_NACK, word_for
from asleft.model.errors import Code, LinkError, ModuleError
from asleft.model.origin import Origin
from asleft.ports.clock import Clock
from asleft.ports.messages import FailedMessage, PeerMessage, SentMessage, Stop

from .fanout import Fanout

PORT = 13400
TESTER = 0x0E00
#: Group address of all modules with standard OBD. Source: ISO 13400-2 (recalled).
EVERYBODY = 0xE400
_CONNECT_S = 2.0
_ACTIVATE_S = 2.0
_READ = 65536


class DoipLink:
    """The MessageLink port on one DoIP entity.

    Args:
        host: name or address.
        clock: stamps messages on receipt; real time.
        port: TCP port.
        tester: our source address, 0E00 to 0FFF.
        kind: kind of routing activation, 0 the usual one.
        group: address of everybody.
    """

    most_at_once = 64
    speaks_kwp = False
    may_write = True

    def __init__(
        self,
        host: str,
        clock: Clock,
        port: int = PORT,
        *,
        tester: int = TESTER,
        kind: int = 0,
        group: int = EVERYBODY,
    ) -> None:
        self._host, self._port = host, port
        self._clock = clock
        self._tester, self._kind, self._group = tester, kind, group
        self._writer: asyncio.StreamWriter | None = None
        self._task: asyncio.Task[None] | None = None
        self._activated: asyncio.Future[ActivationAnswer] | None = None
        self._loss: LinkError | None = None
        self._heard: Fanout[PeerMessage] = Fanout()
        self._sent: Fanout[SentMessage] = Fanout()
        self._failed: Fanout[FailedMessage] = Fanout()
        self._lost: Fanout[LinkError] = Fanout()

    @property
    def origin(self) -> Origin:
        """Vehicle."""
        return Origin.VEHICLE

    @property
    def name(self) -> str:
        """``doip:HOST:PORT?tester=0E00``."""
        return f"doip:{self._host}:{self._port}?tester={self._tester:04X}"

    async def open(self) -> None:
        """Connect and activate routing. Raises LinkError (no-bus): not reached, or refused, with the reason."""
        if self._writer is not None:
            return
        self._loss = None
        try:
            async with asyncio.timeout(_CONNECT_S):
                reader, self._writer = await asyncio.open_connection(self._host, self._port)
        except (OSError, TimeoutError) as error:
            raise LinkError(Code.NO_BUS, str(error) or "no connection in time", self.name) from error
        self._activated = asyncio.get_running_loop().create_future()
        self._task = asyncio.get_running_loop().create_task(self._read(reader))
        self._put(ActivationRequest(self._tester, self._kind))
        try:
            async with asyncio.timeout(_ACTIVATE_S):
                answer = await self._activated
        except (TimeoutError, LinkError) as error:
            await self.close()
            raise LinkError(Code.NO_BUS, "routing was not activated in time", self.name) from error
        if not answer.active:
            await self.close()
            raise LinkError(Code.NO_BUS, f"routing {word_for(ACTIVATION, answer.code)}", self.name)

    async def close(self) -> None:
        """Hang up; safe to call twice."""
        writer, self._writer = self._writer, None
        task, self._task = self._task, None
        if writer is not None:
            writer.close()
        if task is not None:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    def send(self, peer: int | None, payload: bytes) -> None:
        """Queue one message. Raises LinkError (link-lost)."""
        if self._loss is not None:
            raise self._loss
        if self._writer is None:
            raise LinkError(Code.LINK_LOST, "the link is not open", self.name)
        self._put(Diagnostic(self._tester, self._group if peer is None else peer, payload))

    def listen(self, listener: Callable[[PeerMessage], None]) -> Stop:
        """Hear every message from now on."""
        return self._heard.add(listener)

    def when_sent(self, listener: Callable[[SentMessage], None]) -> Stop:
        """Hear of own messages that the entity has taken over."""
        return self._sent.add(listener)

    def when_failed(self, listener: Callable[[FailedMessage], None]) -> Stop:
        """Hear of messages that the entity did not take."""
        return self._failed.add(listener)

    def when_lost(self, listener: Callable[[LinkError], None]) -> Stop:
        """Be called once when the connection is gone."""
        if self._loss is not None:
            listener(self._loss)
        return self._lost.add(listener)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _put(self, message: DoipMessage) -> None:
        if self._writer is not None:
            self._writer.write(encode(message))

    async def _read(self, reader: asyncio.StreamReader) -> None:
        splitter = DoipSplitter()
        why = "the entity hung up"
        try:
            while data := await reader.read(_READ):
                now_s = self._clock.now()
                for item in splitter.feed(data):
                    if isinstance(item, DoipBroken):
                        why = item.detail
                    else:
                        self._take(item, now_s)
                if splitter.broken:
                    break
        except OSError as error:
            why = str(error)
        self._on_loss(LinkError(Code.LINK_LOST, why, self.name))

    def _take(self, item: DoipItem, now_s: float) -> None:
        match item:
            case Diagnostic(source, target, payload) if target == self._tester and payload:
                self._heard(PeerMessage(source, payload, now_s, now_s))
            case DiagnosticAck(source):
                self._sent(SentMessage(self._peer(source), now_s))
            case DiagnosticNack(source, _, code):
                words = word_for(DIAGNOSTIC_NACK, code)
                error = ModuleError(Code.MODULE_SILENT, f"the gateway did not pass it on: {words}", f"{source:04X}")
                self._failed(FailedMessage(self._peer(source), error))
            case GenericNack(code):
                error = LinkError(Code.TRANSFER_BROKEN, f"the entity answered: {word_for(GENERIC_NACK, code)}")
                self._failed(FailedMessage(None, error))
            case AliveRequest():
                self._put(AliveAnswer(self._tester))
            case ActivationAnswer() if self._activated is not None and not self._activated.done():
                self._activated.set_result(item)
            case _:
                pass  # announcements and what we did not ask for

    def _peer(self, address: int) -> int | None:
        return None if address == self._group else address

    def _on_loss(self, error: LinkError) -> None:
        if self._activated is not None and not self._activated.done():
            self._activated.set_exception(error)
        if self._loss is None and self._writer is not None:
            self._loss = error
            self._lost(error)
