"""Diagnostic conversations on one link: the Conversation port.

Many modules are talked to from one receive loop; at most a few requests are on their way at a time. What is an effect
is decided from the bytes alone; an effect goes out only with a receipt, once, and alone where it writes::

    async with Conversations(link, clock, journal.redeem) as talk:
        vin = await talk.ask(engine, bytes.fromhex("22F190"))

Every call ends: with its answer, or with a typed error at its deadline. On leaving, sessions are closed.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Callable
from contextlib import asynccontextmanager
from types import TracebackType
from typing import NamedTuple

import msgspec

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
from asleft.ports.messages import MessageLink

from .errors import LinkBusy, ModuleRefused, ModuleSilent, shown
from .everybody import Everybody, Outcome
from .exchange import Exchange
from .hub import CanHub, Hub
from .message_hub import MessageHub
from .pace import CarPace, ModulePace, Pace
from .partner import Partner
from .policy import WritesPolicy
from .sessions import Sessions
from .settings import TalkSettings
from .tries import Tries
from .turns import Turns

#: Effects during which nobody else speaks. One that only actuates leaves room for watching its conditions.
_ALONE = frozenset({Effect.WRITES, Effect.CLEARS, Effect.RESTARTS, Effect.ACCESS})


class Answer(NamedTuple):
    """A positive answer and when its last frame was received, s on the clock."""

    data: bytes
    time_s: float


_GENTLE = TalkSettings()
_CLOSED = WritesPolicy()
_UNKNOWN = CarPace()
_NOTHING = ModulePace()


class Conversations:
    """Conversations on an open link: frames of CAN, or whole messages of DoIP and K-line.

    Args:
        link: open; its frames carry times of ``clock``.
        clock: everything waits on it.
        redeem: uses a receipt up, or raises; the Journal's.
        policy: whether effects may go out here at all.
        settings: times and numbers.
        protocol: language of the modules; None: as the link says, UDS on CAN.
        known: what this car proved earlier.
    """

    def __init__(
        self,
        link: Link | MessageLink,
        clock: Clock,
        redeem: Callable[[Receipt], None],
        policy: WritesPolicy = _CLOSED,
        *,
        settings: TalkSettings = _GENTLE,
        protocol: Protocol | None = None,
        known: CarPace = _UNKNOWN,
    ) -> None:
        if protocol is None:
            kwp = isinstance(link, MessageLink) and link.speaks_kwp
            protocol = Protocol.KWP2000 if kwp else Protocol.UDS
        self.settings = settings
        self._hub = _hub_of(link, clock, settings, protocol)
        by_nature = self._hub.most_at_once
        self.turns = Turns(clock, min(by_nature, max(settings.in_flight, known.in_flight)))
        self.pace = Pace(self.turns, clock, min(by_nature, max(settings.in_flight_most, known.in_flight)), known)
        self._modules = dict(known.modules)
        self._link = link
        self._clock = clock
        self._redeem = redeem
        self._policy = policy
        self._protocol = protocol
        if self._hub.load is not None:
            self._hub.load.on_window = self.pace.bus_used
        self._partners: dict[tuple[int, int, bool, int, int], Partner] = {}
        self._sessions = Sessions(clock, settings, self._may_beat, protocol)
        self._ended = False
        self._quiet = False
        self._closing: asyncio.Future[list[None]] | None = None

    @property
    def protocol(self) -> Protocol:
        """Language of the modules."""
        return self._protocol

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
        await self._take_lock(partner, request, end_s)
        try:
            return await self._read(partner, request, end_s)
        finally:
            partner.lock.give_back()

    async def carry_out(self, receipt: Receipt, *, deadline_s: float | None = None) -> bytes:
        """Redeem a receipt, send exactly its bytes, once, and return the positive answer.

        Nothing here sends it again. After module-silent, transfer-broken or link-lost the effect is *not known*.

        Raises:
            RunError: writes-closed (not redeemed), receipt-missing (a strange receipt).
            RecordError: receipt-used.
            ModuleError, LinkError: as ``ask``; link-busy: not redeemed, not sent.
        """
        self._policy.check(self.origin)
        if isinstance(self._link, MessageLink) and not self._link.may_write:
            raise RunError(Code.WRITES_CLOSED, "the start of this K-line was not measured yet", self._link.name)
        request = bytes.fromhex(receipt.payload)
        if not request:
            raise RunError(Code.RECEIPT_MISSING, "a receipt for no bytes", receipt.target.text)
        partner, end_s = self._partner(receipt.target), self._end(deadline_s)
        alone = effect_of(request, self._protocol) in _ALONE
        await self._take_lock(partner, request, end_s)
        try:
            await partner.settle(request, end_s)
            if not await self.turns.take(end_s, alone=alone):
                raise LinkBusy(partner.name, request)
            try:
                self._must_be_open()
                self._redeem(receipt)
                return (await self._send_once(partner, request, end_s)).data
            finally:
                self.turns.give_back()
        finally:
            partner.lock.give_back()

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

    @property
    def proved(self) -> CarPace:
        """What this car has proved so far: to be kept with it and given to its next conversation as ``known``."""
        found = {
            _key(partner.address): msgspec.structs.replace(self.pace_of(partner.address), busy_s=partner.busy_s)
            for partner in self._partners.values()
            if partner.busy_s
        }
        return CarPace(self.pace.proved, self.pace.ceiling, {**self._modules, **found})

    def pace_of(self, target: ModuleAddress) -> ModulePace:
        """What is known of a module."""
        return self._modules.get(_key(target), _NOTHING)

    def remember(self, target: ModuleAddress, pace: ModulePace) -> None:
        """Keep what was learned of a module."""
        self._modules[_key(target)] = pace

    @asynccontextmanager
    async def quiet(self) -> AsyncGenerator[None, None]:
        """Nothing goes out while this is held, not even tester present: for sequences by hand, and for others' turn.

        Waits until what is under way has ended. Sessions that are open may run out meanwhile. Raises LinkError
        (link-busy): it does not end.
        """
        if not await self.turns.take(self._clock.now() + self.settings.longest_s, alone=True):
            raise LinkBusy("everybody", b"")
        self._quiet = self._hub.deaf = True
        try:
            yield
        finally:
            self._quiet = self._hub.deaf = False
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
        key = target.place
        partner = self._partners.get(key)
        if partner is None:
            partner = Partner(
                target,
                self._hub.lane(target),
                self._clock,
                self.settings,
                load=self._hub.load,
                protocol=self._protocol,
            )
            self._partners[key] = partner
        partner.address = target
        return partner

    def _end(self, deadline_s: float | None) -> float:
        return self._clock.now() + (self.settings.longest_s if deadline_s is None else deadline_s)

    def _may_beat(self) -> bool:
        return not (self._ended or self._quiet) and self._hub.loss is None

    def _must_be_open(self) -> None:
        if self._hub.loss is not None:
            raise self._hub.loss
        if self._ended:
            raise LinkError(Code.LINK_LOST, "the conversations have ended", self._link.name)

    async def _take_lock(self, partner: Partner, request: bytes, end_s: float) -> None:
        if not await partner.lock.take(end_s):
            raise LinkBusy(partner.name, request)

    async def _send_once(self, partner: Partner, request: bytes, end_s: float) -> Answer:
        self._must_be_open()
        self._sessions.requested(partner, request)
        exchange = Exchange(partner, request, self._clock, self.settings, end_s=end_s, protocol=self._protocol)
        answer = await exchange.run()
        self._sessions.answered(partner, request, answer)
        return Answer(answer, exchange.answered_s)

    async def _read(self, partner: Partner, request: bytes, end_s: float) -> Answer:
        """A read with its bounded retries; each attempt takes a turn of its own."""
        tries = Tries(self.settings, self._clock, self.pace, id(partner))
        spent_s = 0.0
        while True:
            if tries.silent:
                await partner.strays_gone(end_s)
            else:
                await partner.settle(request, end_s)
            late = self._clock.now() >= end_s
            if late or not await self.turns.take(end_s, alone=tries.alone, head_start_s=self._head_start(partner)):
                raise tries.error or LinkBusy(partner.name, request)
            begun_s = self._clock.now()
            try:
                tries.begin()
                answer = await self._send_once(partner, request, end_s)
            except (ModuleRefused, ModuleSilent, TransferBroken) as error:
                pause_s = tries.failed(error, end_s)
                if pause_s is None:
                    raise
            else:
                tries.answered()
                return answer
            finally:
                spent_s += self._clock.now() - begun_s
                partner.took(request, spent_s)
                self.turns.give_back()
            await self._clock.sleep_until(self._clock.now() + pause_s)

    def _head_start(self, partner: Partner) -> float:
        return self.pace_of(partner.address).busy_s

    async def _close_session(self, partner: Partner) -> None:
        """``10 01``, once or twice, whatever it brings."""
        try:
            await self.ask(
                partner.address, session.make_request(self._sessions.default), deadline_s=self.settings.close_s
            )
        except AsleftError:
            self._sessions.closed(partner)  # it falls back by itself when tester present stops


def _hub_of(link: Link | MessageLink, clock: Clock, settings: TalkSettings, protocol: Protocol) -> Hub:
    if isinstance(link, MessageLink):
        return MessageHub(link, clock, pieces=protocol is Protocol.KWP2000)
    return CanHub(link, clock, settings.isotp)


def _key(address: ModuleAddress) -> str:
    prefix = address.request_prefix
    return f"{address.request_id:X}" + ("" if isinstance(prefix, msgspec.UnsetType) else f":{prefix:02X}")
