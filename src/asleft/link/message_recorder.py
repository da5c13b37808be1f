"""A recorder around any link of messages (DoIP, K-line): every message once, as text, secrets blanked.

Writes ``NAME.messages.txt``, the same file that the recorder of frames writes beside its frames: time, direction, peer,
bytes. What security access and authentication carry is blanked before it reaches the file. Recording is a by-product:
when the file cannot be written the link goes on and ``trouble`` says why::

    link = RecordingMessageLink(inner, clock, Path("captures"), "job-7")
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from asleft.model.errors import LinkError
from asleft.model.origin import Origin
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.messages import FailedMessage, MessageLink, PeerMessage, SentMessage, Stop

from .recorder import RecordingLink
from .redaction import clean_message

#: Messages after which the file is flushed.
_FLUSH = 50


class RecordingMessageLink:
    """The MessageLink port around another link.

    Args:
        inner: the link that does the work; may be wrapped only once.
        clock: its times stand in the file, s.
        folder: made when missing.
        stem: file name without its ending.

    Attributes:
        sent, received, redacted: messages so far.
        trouble: why the file is not written; empty: it is.
    """

    def __init__(self, inner: MessageLink, clock: Clock, folder: Path, stem: str) -> None:
        if isinstance(inner, RecordingMessageLink):
            raise ValueError("this link is recorded already; a message is written down once")
        self.sent = self.received = self.redacted = 0
        self.trouble = ""
        self._inner = inner
        self._clock = clock
        self._path = folder / f"{stem}.messages.txt"
        self._file: TextIO | None = None
        self._stops: list[Stop] = []
        self._waiting: dict[int | None, deque[bytes]] = {}

    @property
    def origin(self) -> Origin:
        """The inner link's own."""
        return self._inner.origin

    @property
    def name(self) -> str:
        """The inner link's name: recording does not make it another link."""
        return self._inner.name

    @property
    def most_at_once(self) -> int:
        """The inner link's own."""
        return self._inner.most_at_once

    @property
    def speaks_kwp(self) -> bool:
        """The inner link's own."""
        return self._inner.speaks_kwp

    @property
    def may_write(self) -> bool:
        """The inner link's own."""
        return self._inner.may_write

    async def open(self) -> None:
        """Open the inner link and begin the file. Raises LinkError (no-bus)."""
        await self._inner.open()
        if self._stops:
            return
        self._stops += [
            self._inner.listen(self._on_message),
            self._inner.when_sent(self._on_sent),
            self._inner.when_failed(self._on_failed),
        ]
        self._guard(self._begin)

    async def close(self) -> None:
        """Close the inner link and the file; safe to call twice."""
        await self._inner.close()
        for stop in self._stops:
            stop()
        self._stops.clear()
        self._waiting.clear()
        self._guard(self._end)

    def send(self, peer: int | None, payload: bytes) -> None:
        """Send on the inner link; written down once it has gone out, or failed. Raises LinkError."""
        waiting = self._waiting.setdefault(peer, deque())
        waiting.append(payload)
        try:
            self._inner.send(peer, payload)
        except LinkError:
            waiting.pop()
            raise

    def listen(self, listener: Callable[[PeerMessage], None]) -> Stop:
        """Hear every message from now on."""
        return self._inner.listen(listener)

    def when_sent(self, listener: Callable[[SentMessage], None]) -> Stop:
        """Hear of own messages that have gone out."""
        return self._inner.when_sent(listener)

    def when_failed(self, listener: Callable[[FailedMessage], None]) -> Stop:
        """Hear of messages that did not come through."""
        return self._inner.when_failed(listener)

    def when_lost(self, listener: Callable[[LinkError], None]) -> Stop:
        """Be called once when the way to the car is gone."""
        return self._inner.when_lost(listener)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _on_message(self, message: PeerMessage) -> None:
        self.received += 1
        self._write(message.time_s, "<", message.peer, message.payload)

    def _on_sent(self, sent: SentMessage) -> None:
        waiting = self._waiting.get(sent.peer)
        if waiting:
            self.sent += 1
            self._write(sent.time_s, ">", sent.peer, waiting.popleft())

    def _on_failed(self, failed: FailedMessage) -> None:
        waiting = self._waiting.get(failed.peer)
        if waiting:
            self._write(self._clock.now(), "!", failed.peer, waiting.popleft())

    def _write(self, time_s: float, mark: str, peer: int | None, payload: bytes) -> None:
        clean = clean_message(payload)
        self.redacted += clean != payload
        whom = "ALL" if peer is None else f"{peer:04X}"
        self._guard(lambda: self._put(f"{time_s:.6f} {mark} {whom} {clean.hex(' ').upper()}\n"))

    def _put(self, text: str) -> None:
        if self._file is not None:
            self._file.write(text)
            if (self.sent + self.received) % _FLUSH == 0:
                self._file.flush()

    def _begin(self) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._file = self._path.open("w", encoding="ascii")

    def _end(self) -> None:
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def _guard(self, act: Callable[[], None]) -> None:
        if self.trouble:
            return
        try:
            act()
        except OSError as error:
            self.trouble = str(error)


def recorded(link: Link | MessageLink, clock: Clock, folder: Path, stem: str) -> RecordingLink | RecordingMessageLink:
    """The recorder that fits a link. Raises ValueError: it is recorded already."""
    if isinstance(link, MessageLink):
        return RecordingMessageLink(link, clock, folder, stem)
    return RecordingLink(link, clock, folder, stem)
