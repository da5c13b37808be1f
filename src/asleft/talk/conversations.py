"""Diagnostic conversations on one link: the Conversation port.

Many modules are talked to from one receive loop; at most a few requests are on their way at a time. What is an effect
is decided from the bytes alone; an effect goes out only with a receipt, once, and alone where it writes::

    async with Conversations(link, clock, journal.redeem) as talk:
        vin = await talk.ask(engine, bytes.fromhex("22F190"))

Every call ends: with its answer, or with a typed error at its deadline. On leaving, sessions are closed.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from types import TracebackType
from typing import NamedTuple

from asleft.codec.effects import effect_of
from asleft.codec.isotp import TransferBroken
from asleft.codec.refusal import Protocol
from asleft.codec.uds import session
from asleft.model.effect import Effect, Receipt
from asleft.model.errors import AsleftError, Code, LinkError, RunError
from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin
from asleft.ports.bus import Link
from asleft.ports.clock import Clock

from .errors import LinkBusy, ModuleRefused, ModuleSilent, shown
from .everybody import Everybody, Outcome
from .exchange import Exchange
from .hub import CanHub
from .matching import BUSY
from .partner import Partner
from .policy import WritesPolicy
from .sessions import Sessions
from .settings import TalkSettings
from .turns import Turns

#: Effects during which nobody else speaks. One that only actuates leaves room for watching its conditions.
_ALONE = frozenset({Effect.WRITES, Effect.CLEARS, Effect.RESTARTS, Effect.ACCESS})


class Answer(NamedTuple):
    """A positive answer and when its last frame was received, s on the clock."""

    data: bytes
    time_s: float


_GENTLE = TalkSettings()
_CLOSED = WritesPolicy()


class Conversations:
    """Conversations on an open CAN link.

    Args:
        link: open; its frames carry times of ``clock``.
        clock: everything waits on it.
        redeem: uses a receipt up, or raises; the Journal's.
        policy: whether effects may go out here at all.
        settings: times and numbers.
        protocol: language of the modules.
    """

    def __init__(
        self,
        link: Link,
        clock: Clock,
        redeem: Callable[[Receipt], None],
        policy: WritesPolicy = _CLOSED,
        *,
        settings: TalkSettings = _GENTLE,
        protocol: Protocol = Protocol.UDS,
    ) -> None:
        self.settings = settings
        self.turns = Turns(clock, settings.in_flight)
        self._link = link
        self._clock = clock
        self._redeem = redeem
        self._policy = policy
        self._protocol = protocol
        self._hub = CanHub(link, clock, settings.isotp)
        self._partners: dict[tuple[int, int, bool], Partner] = {}
        self._sessions = Sessions(clock, settings, lambda: not self._ended and self._hub.loss is None)
        self._ended = False
        self._closing: asyncio.Future[list[None]] | None = None

    @property
    def origin(self) -> Origin:
        """The link's own."""
        return self._link.origin

    async def __aenter__(self) -> Conversations:
        """Nothing to do: the link is open."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close sessions and stop hearing."""
        await self.close()

    async def close(self) -> None:
        """Close sessions, then stop hearing; safe to call twice. The link stays open."""
        try:
            await self.close_sessions()
        finally:
            self._ended = True
            self._sessions.stop()
            self._hub.close()

    # -- the port --------------------------------------------------------------------------------------------------

    async def ask(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> bytes:
        """Send a request that only reads (or opens a session) and return the positive answer.

        Args:
            target: module.
            request: whole request, service byte first; 1 byte or more.
            deadline_s: longest wait from now, s; None: the module's own times, ``settings.longest_s`` in all.
        Raises:
            RunError (receipt-missing): the bytes have an effect; nothing was sent.
            ModuleError: module-refused (``refusal``), module-silent, answer-malformed.
            LinkError: link-lost, transfer-broken, link-busy (not even asked in time).
        """
        return (await self.ask_timed(target, request, deadline_s=deadline_s)).data

    async def ask_timed(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> Answer:
        """The same as ``ask``, with the time at which the answer was received."""
        effect = effect_of(request, self._protocol)
        if effect.needs_receipt or not request:
            raise RunError(Code.RECEIPT_MISSING, f"{shown(request)} {effect.value}", target.text)
        partner, end_s = self._partner(target), self._end(deadline_s)
        await self._take_turn(partner, request, end_s, alone=False)
        try:
            return await self._read(partner, request, end_s)
        finally:
            self._give_turn_back(partner)

    async def carry_out(self, receipt: Receipt, *, deadline_s: float | None = None) -> bytes:
        """Redeem a receipt, send exactly its bytes, once, and return the positive answer.

        Nothing here sends it again. After module-silent, transfer-broken or link-lost the effect is *not known*.

        Raises:
            RunError: writes-closed (not redeemed), receipt-missing (a strange receipt).
            RecordError: receipt-used.
            ModuleError, LinkError: as ``ask``; link-busy: not redeemed, not sent.
        """
        self._policy.check(self.origin)
        request = bytes.fromhex(receipt.payload)
        if not request:
            raise RunError(Code.RECEIPT_MISSING, "a receipt for no bytes", receipt.target.text)
        partner, end_s = self._partner(receipt.target), self._end(deadline_s)
        alone = effect_of(request, self._protocol) in _ALONE
        await self._take_turn(partner, request, end_s, alone=alone)
        try:
            await partner.settle(request, end_s)
            self._must_be_open()
            self._redeem(receipt)
            return (await self._send_once(partner, request, end_s)).data
        finally:
            self._give_turn_back(partner)

    async def ask_everybody(
        self, request: bytes, *, wide: bool = False, deadline_s: float | None = None
    ) -> dict[ModuleAddress, Outcome]:
        """One standard OBD request to everybody; answers (or refusals) by the module that gave them.

        Args:
            request: up to 7 bytes that only read.
            wide: 29-bit identifiers.
            deadline_s: longest wait, s.
        Raises: RunError (receipt-missing), LinkError. Silence is an empty result.
        """
        effect = effect_of(request, self._protocol)
        if effect is not Effect.READS:
            raise RunError(Code.RECEIPT_MISSING, f"{shown(request)} {effect.value}", "everybody")
        end_s = self._end(deadline_s)
        if not await self.turns.take(end_s, alone=True):
            raise LinkBusy("everybody", request)
        try:
            self._must_be_open()
            known = tuple(self._partners.values())
            return await Everybody(self._hub, self._clock, self.settings, self._partner, known).ask(
                request, end_s, wide=wide
            )
        finally:
            self.turns.give_back()

    async def open_session(self, target: ModuleAddress, session_type: int) -> None:
        """Open a diagnostic session and keep it alive until ``close_sessions``.

        Raises: as ``ask``; a session that does more than last until it is left needs a receipt.
        """
        await self.ask(target, session.make_request(session_type))

    async def close_sessions(self) -> None:
        """Return every module to its default session where it answers; never raises for a silent module.

        When the caller is cancelled meanwhile, closing goes on by itself to its end.
        """
        partners = self._sessions.open
        if partners and not self._ended:
            self._closing = asyncio.gather(*(self._close_session(partner) for partner in partners))
            await asyncio.shield(self._closing)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _partner(self, target: ModuleAddress) -> Partner:
        key = (target.request_id, target.response_id, target.extended)
        partner = self._partners.get(key)
        if partner is None:
            partner = Partner(target, self._hub.lane(target), self._clock, self.settings)
            self._partners[key] = partner
        partner.address = target
        return partner

    def _end(self, deadline_s: float | None) -> float:
        return self._clock.now() + (self.settings.longest_s if deadline_s is None else deadline_s)

    def _must_be_open(self) -> None:
        if self._hub.loss is not None:
            raise self._hub.loss
        if self._ended:
            raise LinkError(Code.LINK_LOST, "the conversations have ended", self._link.name)

    async def _take_turn(self, partner: Partner, request: bytes, end_s: float, *, alone: bool) -> None:
        if not await partner.lock.take(end_s):
            raise LinkBusy(partner.name, request)
        try:
            if not await self.turns.take(end_s, alone=alone):
                raise LinkBusy(partner.name, request)
        except BaseException:
            partner.lock.give_back()
            raise

    def _give_turn_back(self, partner: Partner) -> None:
        self.turns.give_back()
        partner.lock.give_back()

    async def _send_once(self, partner: Partner, request: bytes, end_s: float) -> Answer:
        self._sessions.requested(partner, request)
        exchange = Exchange(partner, request, self._clock, self.settings, end_s=end_s, protocol=self._protocol)
        answer = await exchange.run()
        self._sessions.answered(partner, request, answer)
        return Answer(answer, exchange.answered_s)

    async def _read(self, partner: Partner, request: bytes, end_s: float) -> Answer:
        """A read with its bounded retries: after *busy*, and once, calmly, after silence or a broken transfer."""
        settings = self.settings
        silent = busy = 0
        while True:
            if not silent:
                await partner.settle(request, end_s)
            self._must_be_open()
            try:
                return await self._send_once(partner, request, end_s)
            except ModuleRefused as error:
                busy += 1
                pause_s = settings.busy_pause_s * busy
                if error.refusal != BUSY or busy > settings.busy_retries or self._clock.now() + pause_s >= end_s:
                    raise
            except (ModuleSilent, TransferBroken) as error:
                silent += 1
                pause_s = 0.0 if isinstance(error, ModuleSilent) else settings.calm_s
                if silent > settings.silent_retries or self._clock.now() + pause_s >= end_s or _was_pending(error):
                    raise
            await self._clock.sleep_until(self._clock.now() + pause_s)

    async def _close_session(self, partner: Partner) -> None:
        """``10 01``, once or twice, whatever it brings."""
        try:
            await self.ask(partner.address, session.make_request(session.DEFAULT), deadline_s=self.settings.close_s)
        except AsleftError:
            self._sessions.closed(partner)  # it falls back by itself when tester present stops


def _was_pending(error: AsleftError) -> bool:
    """It took the request and works on it: asking again would only be in its way."""
    return isinstance(error, ModuleSilent) and error.pending > 0
