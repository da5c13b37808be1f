"""K-line with fast start (ISO 14230) as a MessageLink: one wire, one request at a time.

A module is woken before its first request and again when nothing was said for P3 max: 25 ms low, 25 ms high, then
*start communication*. Times between messages and bytes are kept here; who uses the link need not know of them::

    link = KLineLink(line, clock)
    await link.open()
    link.send(0x11, bytes.fromhex("1A9B"))

Not supported: the start at 5 baud, ISO 9141-2. Source: ISO 14230-2 (recalled): P1 max 20 ms, P2 25 to 50 ms, P3 55 ms
to 5 s, P4 5 to 20 ms, start 25 ms low and 25 ms high.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Protocol, TypeVar

from asleft.codec.kwp import session
from asleft.codec.kwp.header import KwpBroken, KwpFrame, KwpSplitter, make_frame
from asleft.model.errors import Code, InputError, LinkError, ModuleError
from asleft.model.origin import Origin
from asleft.ports.clock import Clock, Timer
from asleft.ports.messages import FailedMessage, PeerMessage, SentMessage, Stop

from .abilities import Openable, TellsLoss
from .fanout import Fanout

T = TypeVar("T")

TESTER = 0xF1
#: Address of all modules with standard OBD. Source: ISO 14230-4 (recalled).
EVERYBODY = 0x33
BAUD = 10_400
_BYTE_S = 10 / BAUD
_LOW_S = _HIGH_S = 0.025
_P1_MAX_S = 0.020
_P3_MIN_S = 0.055
_P3_MAX_S = 4.5  # 5 s, less what a request takes
_P4_S = 0.005
_STARTED_S = 0.3
_ECHO_S = 0.5


class LineNode(Protocol):
    """One participant's place on a K-line."""

    def send(self, data: bytes, gap_s: float = 0.0) -> float:
        """Send bytes with ``gap_s`` between them; gives the end of the last one, s. Raises LinkError."""
        ...

    def pull_low(self, seconds: float) -> float:
        """Hold the wire low; gives the end, s. Raises LinkError."""
        ...

    def leave(self) -> None:
        """Stop hearing and sending."""
        ...


class Line(Protocol):
    """A K-line that participants join. It says itself where it comes from."""

    @property
    def origin(self) -> Origin:
        """Bench for a wire that a bench made; vehicle for a serial port."""
        ...

    def join(self, name: str, on_byte: Callable[[int, float, bool], None], on_low: Callable[[float], None]) -> LineNode:
        """Take part: each byte with the time of its end and whether it is our own echo."""
        ...


class KLineLink:
    """The MessageLink port on a K-line.

    Args:
        line: the wire; one that has to be opened is opened and closed with the link.
        clock: the line's.
        name: for messages and the record.
        tester: our address.
        start_measured: where it is written down that the start was measured on this very interface; empty: it was not,
            and then nothing that changes a vehicle goes out here.
    """

    most_at_once = 1
    speaks_kwp = True

    def __init__(
        self, line: Line, clock: Clock, name: str = "", *, tester: int = TESTER, start_measured: str = ""
    ) -> None:
        self._line = line
        self._clock = clock
        self._name = name
        self._tester = tester
        self._start_measured = start_measured
        self._node: LineNode | None = None
        self._worker: asyncio.Task[None] | None = None
        self._queue: asyncio.Queue[tuple[int | None, bytes]] = asyncio.Queue()
        self._awake_until_s: dict[int | None, float] = {}
        self._quiet_since_s = float("-inf")
        self._splitter = KwpSplitter()
        self._begun_s: float | None = None
        self._echoes = 0
        self._echoed: asyncio.Future[float] | None = None
        self._started: asyncio.Future[bytes] | None = None
        self._asked: int | None = None
        self._gap_timer: Timer | None = None
        self._loss: LinkError | None = None
        self._stop_watching: Stop | None = None
        self._heard: Fanout[PeerMessage] = Fanout()
        self._sent: Fanout[SentMessage] = Fanout()
        self._failed: Fanout[FailedMessage] = Fanout()
        self._lost: Fanout[LinkError] = Fanout()

    @property
    def origin(self) -> Origin:
        """The line's own."""
        return self._line.origin

    @property
    def name(self) -> str:
        """Address for messages and the record."""
        return self._name or f"{self.origin.value} K-line"

    @property
    def may_write(self) -> bool:
        """On a bench, and where the start was measured on this interface."""
        return self.origin is Origin.BENCH or bool(self._start_measured)

    async def open(self) -> None:
        """Join the line. Raises LinkError (no-bus)."""
        if self._node is not None:
            return
        if isinstance(self._line, Openable):
            await self._line.open()
        self._loss = None
        self._awake_until_s.clear()
        self._node = self._line.join("tester", self._on_byte, lambda _seconds: None)
        if isinstance(self._line, TellsLoss):
            self._stop_watching = self._line.when_lost(self._on_lost)
        self._worker = asyncio.get_running_loop().create_task(self._work(self._node))

    async def close(self) -> None:
        """Leave the line; safe to call twice."""
        node, self._node = self._node, None
        if node is None:
            return
        if self._worker is not None:
            self._worker.cancel()
            await asyncio.gather(self._worker, return_exceptions=True)
            self._worker = None
        if self._stop_watching is not None:
            self._stop_watching()
        while not self._queue.empty():
            self._queue.get_nowait()
        node.leave()
        if isinstance(self._line, Openable):
            await self._line.close()

    def send(self, peer: int | None, payload: bytes) -> None:
        """Queue one message. Raises LinkError (link-lost), InputError: no frame can carry it."""
        if self._loss is not None:
            raise self._loss
        if self._node is None:
            raise LinkError(Code.LINK_LOST, "the link is not open", self.name)
        self._frame(peer, payload)
        self._queue.put_nowait((peer, payload))

    def listen(self, listener: Callable[[PeerMessage], None]) -> Stop:
        """Hear every message from now on."""
        return self._heard.add(listener)

    def when_sent(self, listener: Callable[[SentMessage], None]) -> Stop:
        """Hear of own messages whose last byte is on the wire."""
        return self._sent.add(listener)

    def when_failed(self, listener: Callable[[FailedMessage], None]) -> Stop:
        """Hear of messages that did not come through."""
        return self._failed.add(listener)

    def when_lost(self, listener: Callable[[LinkError], None]) -> Stop:
        """Be called once when the line is gone."""
        if self._loss is not None:
            listener(self._loss)
        return self._lost.add(listener)

    # -- sending ---------------------------------------------------------------------------------------------------

    def _frame(self, peer: int | None, payload: bytes) -> bytes:
        return make_frame(payload, EVERYBODY if peer is None else peer, self._tester, functional=peer is None)

    async def _work(self, node: LineNode) -> None:
        while True:
            peer, payload = await self._queue.get()
            try:
                await self._send_one(node, peer, payload)
            except LinkError as error:
                if error.code is Code.LINK_LOST:
                    self._on_lost(error)
                    return
                self._failed(FailedMessage(peer, error))
            except (ModuleError, InputError) as error:
                self._failed(FailedMessage(peer, error))

    async def _send_one(self, node: LineNode, peer: int | None, payload: bytes) -> None:
        if self._clock.now() >= self._awake_until_s.get(peer, float("-inf")):
            await self._wake(node, peer)
        await self._clock.sleep_until(self._quiet_since_s + _P3_MIN_S)
        end_s = await self._put_out(node, self._frame(peer, payload))
        self._asked = peer
        self._keep_awake(peer, end_s)
        self._sent(SentMessage(peer, end_s))

    async def _wake(self, node: LineNode, peer: int | None) -> None:
        """25 ms low, 25 ms high, start communication. Raises ModuleError (module-silent)."""
        await self._clock.sleep_until(self._quiet_since_s + _P3_MIN_S)
        self._started = asyncio.get_running_loop().create_future()
        low_end_s = node.pull_low(_LOW_S)
        await self._clock.sleep_until(low_end_s + _HIGH_S)
        self._asked = peer
        end_s = await self._put_out(node, self._frame(peer, session.START_COMMUNICATION))
        answer = await self._until(self._started, end_s + _STARTED_S)
        self._started = None
        if answer is None:
            raise ModuleError(Code.MODULE_SILENT, "no answer to the fast start", self._text(peer))
        if answer[:1] != b"\xc1":
            what = f"the fast start was refused: {answer.hex(' ').upper()}"
            raise ModuleError(Code.MODULE_SILENT, what, self._text(peer))
        self._keep_awake(peer, self._clock.now())

    async def _put_out(self, node: LineNode, frame: bytes) -> float:
        """Send and hear all of it back; the end of the last byte. Raises LinkError: the echo does not come."""
        self._echoed = asyncio.get_running_loop().create_future()
        self._echoes = len(frame)
        self._begun_s = None
        self._splitter.gap()
        end_s = node.send(frame, _P4_S)
        heard = await self._until(self._echoed, end_s + _ECHO_S)
        if heard is None:
            raise LinkError(
                Code.NO_BUS, "we do not hear ourselves: is the K-line connected, is there supply?", self.name
            )
        return heard

    async def _until(self, future: asyncio.Future[T], when_s: float) -> T | None:
        def over() -> None:
            future.cancel()

        timer = self._clock.call_at(when_s, over)
        try:
            return await future
        except asyncio.CancelledError:
            current = asyncio.current_task()
            if current is not None and current.cancelling():
                raise
            return None
        finally:
            timer.cancel()

    def _keep_awake(self, peer: int | None, now_s: float) -> None:
        self._awake_until_s[peer] = now_s + _P3_MAX_S

    # -- receiving -------------------------------------------------------------------------------------------------

    def _on_byte(self, value: int, end_s: float, own: bool) -> None:
        self._quiet_since_s = end_s
        if own:
            self._echoes -= 1
            if self._echoes == 0 and self._echoed is not None and not self._echoed.done():
                self._echoed.set_result(end_s)
            return
        if self._begun_s is None:
            self._begun_s = end_s - _BYTE_S
        self._expect_gap(end_s)
        for item in self._splitter.feed(bytes((value,))):
            self._take(item, end_s)

    def _expect_gap(self, end_s: float) -> None:
        if self._gap_timer is not None:
            self._gap_timer.cancel()
        self._gap_timer = self._clock.call_at(end_s + _P1_MAX_S + _BYTE_S, self._on_gap)

    def _on_gap(self) -> None:
        """The line was quiet for longer than a message may pause."""
        self._gap_timer = None
        self._begun_s = None
        broken = self._splitter.gap()
        if broken is not None:
            self._failed(FailedMessage(self._asked, broken))

    def _take(self, item: KwpFrame | KwpBroken, end_s: float) -> None:
        started_s = self._begun_s if self._begun_s is not None else end_s
        self._begun_s = None
        if isinstance(item, KwpBroken):
            self._failed(FailedMessage(self._asked, item))
            return
        if item.target not in (None, self._tester):
            return
        peer = item.source if item.source is not None else self._asked
        if self._started is not None and not self._started.done():
            if item.payload[:1] == b"\xc1" or item.payload[:2] == b"\x7f\x81":
                self._started.set_result(item.payload)
            return
        if peer is not None:
            self._keep_awake(peer if self._asked is not None else None, end_s)
            self._heard(PeerMessage(peer, item.payload, started_s, end_s))

    def _on_lost(self, error: LinkError) -> None:
        if self._loss is None:
            self._loss = error
            self._lost(error)

    def _text(self, peer: int | None) -> str:
        return f"K-line {EVERYBODY if peer is None else peer:02X}"
