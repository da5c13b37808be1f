"""Requests to everybody: one frame on the functional identifier, answers from whoever has one.

Only standard OBD requests go this way, and nobody else speaks meanwhile. A module that does not support what is asked
keeps silent; that is no error here.

Source: ISO 15765-4, ISO 14230-4, ISO 13400-2 (recalled).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from asleft.codec.answer import AnswerMalformed
from asleft.codec.isotp import TransferBroken
from asleft.codec.refusal import Protocol
from asleft.model.errors import AsleftError, Code, LinkError
from asleft.model.module import ModuleAddress
from asleft.ports.clock import Clock

from .errors import ModuleRefused, ModuleSilent, shown
from .exchange import Exchange
from .hub import Hub
from .partner import Partner
from .settings import TalkSettings
from .waiting import until

#: What one module gave: its answer, or why there is none.
Outcome = bytes | ModuleRefused | AnswerMalformed | TransferBroken


class Everybody:
    """One request to everybody. Whoever uses it holds the link alone.

    Args:
        hub, clock, settings: of the conversation.
        partner_of: the partner of an address, made when new.
        partners: those known so far.
    """

    def __init__(
        self,
        hub: Hub,
        clock: Clock,
        settings: TalkSettings,
        partner_of: Callable[[ModuleAddress], Partner],
        partners: tuple[Partner, ...],
    ) -> None:
        self._hub = hub
        self._clock = clock
        self._settings = settings
        self._partner_of = partner_of
        self._known = partners
        self._sent: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._sent_s = 0.0
        self._failure: AsleftError | None = None
        self._waits: dict[int, asyncio.Task[bytes]] = {}
        self._exchanges: dict[int, tuple[Partner, Exchange]] = {}

    async def ask(self, request: bytes, end_s: float, *, wide: bool) -> dict[ModuleAddress, Outcome]:
        """Send and gather.

        Raises: LinkError: link-lost, or the request is too long for one frame.
        """
        for partner in self._known:
            if self._hub.may_answer_all(partner.address, wide=wide):
                self._await_answer(partner, request, end_s)
        self._hub.on_newcomer = lambda address: self._newcomer(address, request, end_s, wide=wide)
        self._hub.on_everybody_sent = self._all_sent
        self._hub.on_everybody_failed = self._all_failed
        try:
            await self._clock.sleep_until(self._clock.now())  # those who wait begin to listen before anything goes out
            await self._send(request, end_s, wide=wide)
            if self._failure is not None:
                if self._failure.code is Code.LINK_LOST:
                    raise self._failure
                return {}  # nobody could be woken, or those who answered spoilt each other's bytes
            settings = self._settings
            quiet_s = self._sent_s + settings.p2_s + settings.margin_s + settings.calm_s
            await self._clock.sleep_until(min(quiet_s, end_s))
            return await self._gather()
        finally:
            self._hub.on_newcomer = self._hub.on_everybody_sent = self._hub.on_everybody_failed = None
            for task in self._waits.values():
                task.cancel()

    async def _send(self, request: bytes, end_s: float, *, wide: bool) -> None:
        begun_s = self._clock.now()
        self._hub.send_to_all(request, wide=wide)
        if not self._hub.confirms:
            self._all_sent(begun_s)
        latest_s = min(begun_s + self._settings.onto_bus_s, end_s)
        if not await until(self._sent, self._clock, latest_s):
            raise LinkError(Code.LINK_LOST, f"{shown(request)} did not get onto the bus", "everybody")

    def _await_answer(self, partner: Partner, request: bytes, end_s: float) -> Exchange:
        exchange = Exchange(partner, request, self._clock, self._settings, end_s=end_s, protocol=Protocol.OBD)
        key = id(partner)
        self._exchanges[key] = (partner, exchange)
        self._waits[key] = asyncio.ensure_future(exchange.run(listen_only=True))
        return exchange

    def _newcomer(self, address: ModuleAddress, request: bytes, end_s: float, *, wide: bool) -> bool:
        if not self._hub.may_answer_all(address, wide=wide):
            return False
        partner = self._partner_of(address)
        exchange = self._await_answer(partner, request, end_s)
        partner.waiting = exchange
        exchange.on_sent(self._sent_s)
        return True

    def _all_failed(self, error: AsleftError) -> None:
        self._failure = error
        if not self._sent.done():
            self._sent.set_result(None)

    def _all_sent(self, time_s: float) -> None:
        self._sent_s = time_s
        if not self._sent.done():
            self._sent.set_result(None)
        for _, exchange in self._exchanges.values():
            exchange.on_sent(time_s)

    async def _gather(self) -> dict[ModuleAddress, Outcome]:
        found: dict[ModuleAddress, Outcome] = {}
        for key, task in list(self._waits.items()):
            address = self._exchanges[key][0].address
            try:
                found[address] = await task
            except (ModuleRefused, AnswerMalformed, TransferBroken) as error:
                found[address] = error
            except ModuleSilent:
                continue
        return found
