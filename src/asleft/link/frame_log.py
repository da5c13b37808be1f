"""A log of frames played as a link: listened to, never asked. Origin: replay.

Reads what python-can reads: candump (``.log``), ASC, BLF, and others by their ending. Frames come on the clock with the
spacing that they were recorded with; in virtual time a long log takes as long as its computation::

    link = FrameLogLink(Path("job-7.asc"), clock)
    link.listen(frames.append)
    await link.open()
    await link.played_out()
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from asleft.model.errors import Code, InputError, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Listener
from asleft.ports.clock import Clock, Timer

from .abilities import LossListener, Stop
from .fanout import Fanout

if TYPE_CHECKING:
    from can import Message


class FrameLogLink:
    """The Link port over a log.

    Args:
        path: the log; its ending says its form.
        clock: plays it.

    Attributes:
        confirms: never: nothing is sent.
        skipped: entries that were no data frames (errors, remote frames), so far.
    """

    confirms = False

    def __init__(self, path: Path, clock: Clock) -> None:
        self.skipped = 0
        self._path = path
        self._clock = clock
        self._frames: Iterator[tuple[float, CanFrame]] | None = None
        self._first_s: float | None = None
        self._begun_s = 0.0
        self._timer: Timer | None = None
        self._heard: Fanout[CanFrame] = Fanout()
        self._over: asyncio.Future[None] | None = None
        self._error: InputError | None = None
        self._shut: Callable[[], None] = _nothing

    @property
    def origin(self) -> Origin:
        """Replay."""
        return Origin.REPLAY

    @property
    def name(self) -> str:
        """``log:FILE``."""
        return f"log:{self._path.name}"

    async def open(self) -> None:
        """Begin to play. Raises InputError (recording-unreadable): no such file, or no log that can be read."""
        if self._frames is not None:
            return
        self._over = asyncio.get_running_loop().create_future()
        self._frames = self._read()
        self._first_s, self._begun_s = None, self._clock.now()
        try:
            self._next()
        except InputError:
            await self.close()
            raise

    async def close(self) -> None:
        """Stop; safe to call twice."""
        self._frames = None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._shut()
        self._end()

    async def played_out(self) -> None:
        """Wait for the end of the log, or of the link. Raises InputError: it can be read no further."""
        if self._over is not None:
            await asyncio.shield(self._over)
        if self._error is not None:
            raise self._error

    def send(self, frame: CanFrame) -> None:
        """Never. Raises LinkError (listen-only)."""
        raise LinkError(Code.LISTEN_ONLY, f"a log cannot be asked ({frame.text()})", self.name)

    def listen(self, listener: Listener) -> Stop:
        """Hear every frame from now on; ``time_s`` is on the clock."""
        return self._heard.add(listener)

    def when_lost(self, listener: LossListener) -> Stop:
        """A log is not lost."""
        del listener
        return lambda: None

    # -- inside ----------------------------------------------------------------------------------------------------

    def _next(self) -> None:
        self._timer = None
        if self._frames is None:
            return
        for recorded_s, frame in self._frames:
            if self._first_s is None:
                self._first_s = recorded_s
            due_s = self._begun_s + max(0.0, recorded_s - self._first_s)
            self._timer = self._clock.call_at(due_s, lambda frame=frame, due_s=due_s: self._play(frame, due_s))
            return
        self._shut()
        self._end()

    def _play(self, frame: CanFrame, due_s: float) -> None:
        time_s = min(due_s, self._clock.now())  # a loop may call early, by its resolution
        self._heard(CanFrame(frame.id, frame.data, frame.extended, frame.fd, time_s))
        try:
            self._next()
        except InputError as error:
            self._error = error
            self._shut()
            self._end()

    def _end(self) -> None:
        if self._over is not None and not self._over.done():
            self._over.set_result(None)

    def _read(self) -> Iterator[tuple[float, CanFrame]]:
        import can  # noqa: PLC0415

        if not self._path.is_file():
            raise InputError(Code.RECORDING_UNREADABLE, "no such file", str(self._path))
        try:
            reader = can.LogReader(self._path)
        except Exception as error:  # a reader may raise anything at a strange file
            raise InputError(Code.RECORDING_UNREADABLE, str(error), str(self._path)) from error
        self._shut = reader.stop
        return self._frames_of(iter(reader))

    def _frames_of(self, messages: Iterator[Message]) -> Iterator[tuple[float, CanFrame]]:
        """Data frames with their recorded times; the log ends where it can be read no further."""
        while True:
            try:
                message = next(messages)
            except StopIteration:
                return
            except Exception as error:  # the same
                raise InputError(Code.RECORDING_UNREADABLE, str(error), str(self._path)) from error
            try:
                if message.is_error_frame or message.is_remote_frame:
                    self.skipped += 1
                    continue
                data = bytes(message.data)
                yield message.timestamp, CanFrame(message.arbitration_id, data, message.is_extended_id, message.is_fd)
            except LinkError:
                self.skipped += 1


def _nothing() -> None:
    return None
