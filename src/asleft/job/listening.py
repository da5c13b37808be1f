"""Listening to another tester at work, or to a recording of one: exchanges in words, and the picture that they make.

Nothing is ever sent: the link that this takes has no way to.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import current
from asleft.link.frame_log import FrameLogLink
from asleft.link.listening import ListenOnly
from asleft.link.recorder import RecordingLink
from asleft.live.asking import Taken
from asleft.live.catalogue import CATALOGUE
from asleft.live.readings import ReadingMaker
from asleft.model.frame import CanFrame
from asleft.model.module import Picture
from asleft.model.origin import Origin
from asleft.model.reading import Reading
from asleft.ports.clock import Clock
from asleft.talk.overheard_picture import OverheardPicture
from asleft.talk.overheard_words import changes, line
from asleft.talk.overhearing import HeardExchange, Overhearing

#: How often it is looked whether it is over, s.
_LOOK_S = 0.1


class Heard(msgspec.Struct, frozen=True):
    """What was heard in all.

    Attributes:
        picture: of the modules that answered; what nobody asked is missing with that reason.
        origin: the link's.
        seconds: how long, s.
        frames, identifiers: how many frames on how many identifiers.
        exchanges: requests with their answers, and those that remained without.
        changed: those that changed the car.
        broken: messages of which a frame was missing.
        unclear: answers of which it could not be told whose they are.
        trouble: why the files could not be written; empty: they were, or none were asked for.
    """

    picture: Picture
    origin: Origin
    seconds: float
    frames: int
    identifiers: int
    exchanges: int
    changed: tuple[HeardExchange, ...]
    broken: int
    unclear: int = 0
    trouble: str = ""


class Listener:
    """Takes frames, tells exchanges.

    Args:
        origin: of the link.
        tell: told every exchange as it ends.
    """

    def __init__(self, origin: Origin, tell: Callable[[HeardExchange], None]) -> None:
        self._origin = origin
        self._tell = tell
        self._hearing = Overhearing()
        self._picture = OverheardPicture()
        self._maker = ReadingMaker(origin)
        self._readings: dict[str, Reading] = {}
        self._changed: list[HeardExchange] = []
        self._exchanges = 0

    def on_frame(self, frame: CanFrame) -> None:
        """Take one frame."""
        self._take(self._hearing.feed(frame))

    def finish(self, start_s: float, stop_s: float, trouble: str = "") -> Heard:
        """Everything heard between these times, s on the clock."""
        self._take(self._hearing.finish())
        return Heard(
            self._picture.picture(start_s, stop_s, tuple(self._readings.values())),
            self._origin,
            stop_s - start_s,
            self._hearing.frames.total(),
            len(self._hearing.frames),
            self._exchanges,
            tuple(self._changed),
            self._hearing.ear.broken,
            self._hearing.unclear,
            trouble,
        )

    def _take(self, exchanges: list[HeardExchange]) -> None:
        for exchange in exchanges:
            self._exchanges += 1
            self._picture.add(exchange)
            self._read(exchange)
            if changes(exchange):
                self._changed.append(exchange)
            self._tell(exchange)

    def _read(self, exchange: HeardExchange) -> None:
        """Standard live data in it, as readings; the last of each signal is kept."""
        if exchange.request[0] != 0x01 or not exchange.answer or exchange.refusal is not None:
            return
        asked = tuple(exchange.request[1:])
        try:
            parts = current.split_current(exchange.answer, asked)
            names = [(v.signal, pid) for pid, data in parts.items() for v in current.read_parameter(pid, data)]
        except AnswerMalformed:
            return
        taken = Taken(asked, parts, exchange.answer, exchange.answered_s)
        for name, pid in names:
            if name in CATALOGUE:
                self._readings[name] = self._maker.make(name, pid, taken)


async def listen_to(
    link: ListenOnly,
    clock: Clock,
    tell: Callable[[HeardExchange], None],
    *,
    seconds: float | None = None,
    save: tuple[Path, str] | None = None,
    stop: asyncio.Event | None = None,
) -> Heard:
    """Listen until the time is over, ``stop`` is set, or a log has been played out.

    Args:
        link: not yet open.
        clock: the link's.
        tell: told every exchange as it ends.
        seconds: longest time, s; None: no limit.
        save: folder and stem of the files that keep every frame (security payloads blanked).
        stop: ends it from outside.
    Raises: LinkError: no-bus, link-lost. InputError: a log that cannot be read.
    """
    source = RecordingLink(link, clock, *save) if save else link
    listener = Listener(link.origin, tell)
    lost: list[Exception] = []
    await source.open()
    ends = (source.listen(listener.on_frame), source.when_lost(lost.append))
    start_s = clock.now()
    try:
        await _until_over(link, clock, seconds, stop, lost)
    finally:
        for end in ends:
            end()
        await source.close()
    if lost:
        raise lost[0]
    return listener.finish(start_s, clock.now(), source.trouble if isinstance(source, RecordingLink) else "")


async def _until_over(
    link: ListenOnly, clock: Clock, seconds: float | None, stop: asyncio.Event | None, lost: list[Exception]
) -> None:
    end_s = None if seconds is None else clock.now() + seconds
    played = asyncio.ensure_future(inner.played_out()) if isinstance(inner := link.inner, FrameLogLink) else None
    try:
        while not lost and not (stop is not None and stop.is_set()) and not (played is not None and played.done()):
            now_s = clock.now()
            if end_s is not None and now_s >= end_s:
                return
            await clock.sleep_until(now_s + _LOOK_S if end_s is None else min(end_s, now_s + _LOOK_S))
        if played is not None and played.done():
            played.result()
    finally:
        if played is not None:
            played.cancel()


def heard_lines(heard: Heard) -> tuple[str, ...]:
    """The sum of it, to read after the exchanges: what was changed comes first."""
    count = len(heard.changed)
    bus = f"{heard.frames} frames on {heard.identifiers} identifiers"
    what = f"{heard.exchanges} exchanges, {len(heard.picture.modules)} module(s)"
    lines = [f"heard {heard.seconds:.1f} s: {bus}, {what}; nothing was sent"]
    if heard.broken:
        lines.append(f"{heard.broken} message(s) not heard whole: left out")
    if heard.unclear:
        lines.append(f"{heard.unclear} answer(s) of which it could not be told whose they are: left out")
    lines.append(f"changes of the car: {count or 'none heard'}")
    lines += [line(exchange) for exchange in heard.changed]
    if heard.trouble:
        lines.append(f"files not written: {heard.trouble}")
    return tuple(lines)


def exchange_line(exchange: HeardExchange) -> str:
    """One exchange in words."""
    return line(exchange)
