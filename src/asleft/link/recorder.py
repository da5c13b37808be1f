"""A recorder around any link: every frame once, in files that other tools read.

Writes ``NAME.log`` (candump), ``NAME.asc`` and ``NAME.blf`` with python-can's writers, whole messages to
``NAME.messages.txt``, and counts frames. What security access and authentication carry is blanked before it reaches a
file. Recording is a by-product: when a file cannot be written the link goes on and ``trouble`` says why; the record of
a job is the journal, not this::

    link = RecordingLink(inner, clock, Path("captures"), "job-7")
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import msgspec

from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Link, Listener
from asleft.ports.clock import Clock

from .abilities import LossListener, SentListener, Stop, TellsLoss, TellsSent
from .fanout import Fanout
from .overheard import Ear
from .redaction import Redaction

if TYPE_CHECKING:
    from can import Message

#: Frames after which the files are flushed.
_FLUSH = 200


class LinkCounts(msgspec.Struct):
    """Frames that went over a link.

    Attributes:
        sent, received: in all.
        by_id: per identifier, both directions.
        redacted: frames of which bytes were blanked in the files.
    """

    sent: int = 0
    received: int = 0
    by_id: Counter[int] = msgspec.field(default_factory=Counter[int])
    redacted: int = 0


class RecordingLink:
    """The Link port around another link.

    Args:
        inner: the link that does the work; may be wrapped only once.
        clock: for the wall time that the files begin at.
        folder: made when missing.
        stem: file name without its ending.
    """

    def __init__(self, inner: Link, clock: Clock, folder: Path, stem: str) -> None:
        if isinstance(inner, RecordingLink):
            raise ValueError("this link is recorded already; a frame is written down once")
        self.counts = LinkCounts()
        self.trouble = ""
        self._inner = inner
        self._clock = clock
        self._folder, self._stem = folder, stem
        self._redaction = Redaction()
        self._files = _Files()
        self._wall_zero_s = 0.0
        self._stops: list[Stop] = []
        self._sent: Fanout[CanFrame] = Fanout()

    @property
    def origin(self) -> Origin:
        """The inner link's own."""
        return self._inner.origin

    @property
    def name(self) -> str:
        """The inner link's name: recording does not make it another link."""
        return self._inner.name

    @property
    def confirms(self) -> bool:
        """Whether the inner link tells when a frame is on the wire."""
        return bool(getattr(self._inner, "confirms", False))

    @property
    def bitrate(self) -> int | None:
        """The inner link's own."""
        return getattr(self._inner, "bitrate", None)

    @property
    def fd_length(self) -> int:
        """The inner link's own."""
        return int(getattr(self._inner, "fd_length", 0))

    async def open(self) -> None:
        """Open the inner link and begin the files."""
        await self._inner.open()
        if self._stops:
            return
        self._wall_zero_s = _wall_s(self._clock) - self._clock.now()
        self._stops.append(self._inner.listen(self._on_received))
        if isinstance(self._inner, TellsSent) and self.confirms:
            self._stops.append(self._inner.when_sent(self._on_sent))
        self._guard(lambda: self._files.begin(self._folder, self._stem))

    async def close(self) -> None:
        """Close the inner link and the files; safe to call twice."""
        await self._inner.close()
        for stop in self._stops:
            stop()
        self._stops.clear()
        self._guard(self._files.end)

    def send(self, frame: CanFrame) -> None:
        """Send on the inner link; written down once it is on the wire, where the link tells."""
        self._inner.send(frame)
        if not self.confirms:
            self._on_sent(msgspec.structs.replace(frame, time_s=self._clock.now()))

    def listen(self, listener: Listener) -> Stop:
        """Hear every frame received from now on."""
        return self._inner.listen(listener)

    def when_sent(self, listener: SentListener) -> Stop:
        """Hear of own frames on the wire."""
        return self._sent.add(listener)

    def when_lost(self, listener: LossListener) -> Stop:
        """Be called once when the inner link is gone."""
        if isinstance(self._inner, TellsLoss):
            return self._inner.when_lost(listener)
        return _nothing

    def _on_received(self, frame: CanFrame) -> None:
        self.counts.received += 1
        self._write(frame, received=True)

    def _on_sent(self, frame: CanFrame) -> None:
        self.counts.sent += 1
        self._write(frame, received=False)
        self._sent(frame)

    def _write(self, frame: CanFrame, *, received: bool) -> None:
        self.counts.by_id[frame.id] += 1
        clean = self._redaction.clean(frame)
        self.counts.redacted = self._redaction.count
        time_s = self._wall_zero_s + (frame.time_s if frame.time_s is not None else self._clock.now())
        self._guard(lambda: self._files.write(clean, time_s, received=received))

    def _guard(self, act: Callable[[], None]) -> None:
        if self.trouble:
            return
        try:
            act()
        except OSError as error:
            self.trouble = str(error)


class _Files:
    """python-can's writers, opened late: the library is imported with the first recording."""

    def __init__(self) -> None:
        self._writers: list[Callable[[Message], None]] = []
        self._enders: list[Callable[[], None]] = []
        self._flushers: list[Callable[[], None]] = []
        self._since_flush = 0
        self._messages: TextIO | None = None
        self._ear = Ear()

    def begin(self, folder: Path, stem: str) -> None:
        from can.io import ASCWriter, BLFWriter, CanutilsLogWriter  # noqa: PLC0415

        folder.mkdir(parents=True, exist_ok=True)
        texts = (CanutilsLogWriter(folder / f"{stem}.log", channel="can0"), ASCWriter(folder / f"{stem}.asc"))
        for writer in (*texts, BLFWriter(folder / f"{stem}.blf")):
            self._writers.append(writer.on_message_received)
            self._enders.append(writer.stop)
        self._flushers += [writer.file.flush for writer in texts]
        self._messages = (folder / f"{stem}.messages.txt").open("w", encoding="ascii")
        self._enders.append(self._messages.close)
        self._flushers.append(self._messages.flush)

    def write(self, frame: CanFrame, time_s: float, *, received: bool) -> None:
        if not self._writers:
            return
        from can import Message  # noqa: PLC0415

        message = Message(
            timestamp=time_s,
            arbitration_id=frame.id,
            is_extended_id=frame.extended,
            is_fd=frame.fd,
            is_rx=received,
            data=frame.data,
        )
        for write in self._writers:
            write(message)
        whole = self._ear.feed(frame)  # cleaned already, with or without an address byte
        if whole is not None and self._messages is not None:
            self._messages.write(f"{time_s:.6f} {'<' if received else '>'} {whole.text}\n")
        self._since_flush += 1
        if self._since_flush >= _FLUSH:
            self._since_flush = 0
            for flush in self._flushers:
                flush()

    def end(self) -> None:
        for end in self._enders:
            end()
        self._writers, self._enders, self._flushers = [], [], []


def _wall_s(clock: Clock) -> float:
    return datetime.fromisoformat(clock.wall()[0].replace("Z", "+00:00")).timestamp()


def _nothing() -> None:
    return None
