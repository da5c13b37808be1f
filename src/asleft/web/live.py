"""What is measured right now: one look at the engine's live feed for everybody who watches a page.

Lossy, newest wins. A value that has not changed for a while is not live any more and is not shown as if it were.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import AsyncGenerator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from asleft.job.client import JobClient
from asleft.model.errors import AsleftError
from asleft.model.reading import Series

#: Longer unchanged than this is not live, s.
FRESH_S = 3.0
#: How much of the past a live strip shows, s.
SPAN_S = 20.0
#: Readings kept of one signal at most.
_MOST = 400
_READING = "reading:"
#: A sequence by hand that began longer ago is over, s.
_BEATS_S = 600.0


@dataclass
class _Trace:
    """Newest readings of one signal."""

    unit: str = ""
    seen_s: float = 0.0
    points: deque[tuple[float, float]] = field(default_factory=lambda: deque[tuple[float, float]](maxlen=_MOST))


class LiveView:
    """The newest values, and how fresh they are.

    Args: now: seconds, not going back.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._conditions: dict[str, Any] = {}
        self._conditions_s = float("-inf")
        self._traces: dict[str, _Trace] = {}
        self._progress: dict[str, Any] = {}
        self._beats: dict[str, Any] = {}
        self._beats_s = float("-inf")
        self.version = 0

    def update(self, snapshot: Mapping[str, Any]) -> None:
        """Take the feed's newest values."""
        self.version += 1
        conditions = snapshot.get("conditions")
        if conditions and conditions != self._conditions:
            self._conditions, self._conditions_s = dict(conditions), self._now()
        self._progress = dict(snapshot.get("progress") or {})
        beats = dict(snapshot.get("sequence") or {})
        if beats and beats != self._beats:
            self._beats, self._beats_s = beats, self._now() - float(snapshot.get("sequence-age", 0.0))
        for key, reading in snapshot.items():
            if key.startswith(_READING) and reading.get("value") is not None:
                self._take(key.removeprefix(_READING), reading)

    def _take(self, signal: str, reading: Mapping[str, Any]) -> None:
        trace = self._traces.setdefault(signal, _Trace())
        at = float(reading["time_s"])
        if trace.points and trace.points[-1][0] == at:
            return
        if trace.points and trace.points[-1][0] > at:
            trace.points.clear()
        trace.points.append((at, float(reading["value"])))
        trace.unit, trace.seen_s = str(reading["unit"]), self._now()

    @property
    def conditions(self) -> dict[str, Any]:
        """Run, gate and results while they are looked at; empty otherwise."""
        return self._conditions if self._now() - self._conditions_s < FRESH_S else {}

    @property
    def progress(self) -> dict[str, Any]:
        """Run and progress as of the begin of its step in hand; empty before the first."""
        return self._progress

    @property
    def beats(self) -> dict[str, Any]:
        """The sequence by hand that is counted in or went on last, with its age, s; empty when it is long over."""
        age = self._now() - self._beats_s
        return {**self._beats, "age_s": age, "key": f"{self._beats_s:.3f}"} if age < _BEATS_S else {}

    @property
    def series(self) -> tuple[Series, ...]:
        """The last seconds of every signal that is being recorded, by name."""
        return self.newest(len(self._traces))

    def newest(self, whole: int) -> tuple[Series, ...]:
        """As ``series``, but only the first ``whole`` have their last seconds, the others their last value alone."""
        now = self._now()
        fresh = [(s, t) for s, t in sorted(self._traces.items()) if now - t.seen_s < FRESH_S]
        return tuple(_series(s, t, SPAN_S if n < whole else 0.0) for n, (s, t) in enumerate(fresh))

    @property
    def key(self) -> tuple[object, ...]:
        """Changes whenever what is shown does."""
        now = self._now()
        fresh = tuple(s for s, t in self._traces.items() if now - t.seen_s < FRESH_S)
        stands = (str(self._progress), self._beats_s if self.beats else 0.0)
        return (self.version if fresh or self.conditions else 0, bool(self.conditions), fresh, *stands)


def _series(signal: str, trace: _Trace, span_s: float) -> Series:
    end = trace.points[-1][0]
    if not span_s:
        return Series(signal, trace.unit, (end,), (trace.points[-1][1],), 0.0)
    points = [p for p in trace.points if p[0] >= end - span_s]
    return Series(signal, trace.unit, tuple(t for t, _ in points), tuple(v for _, v in points), 0.0)


class LiveHub:
    """Follows the engine's feed as long as somebody watches."""

    def __init__(self, client: JobClient) -> None:
        self._client = client
        self._watchers: set[asyncio.Event] = set()
        self._task: asyncio.Task[None] | None = None
        self.view = LiveView()

    @asynccontextmanager
    async def watching(self) -> AsyncGenerator[asyncio.Event]:
        """An event that is set whenever new values came."""
        woken = asyncio.Event()
        self._watchers.add(woken)
        if self._task is None or self._task.done():
            self._task = asyncio.get_running_loop().create_task(self._follow())
        try:
            yield woken
        finally:
            self._watchers.discard(woken)
            if not self._watchers:
                self._task.cancel()

    async def _follow(self) -> None:
        with suppress(asyncio.CancelledError):
            while True:
                with suppress(AsleftError, OSError, ValueError):  # the engine is away: try again
                    async for snapshot in self._client.live():
                        self.view.update(snapshot)
                        for watcher in self._watchers:
                            watcher.set()
                await asyncio.sleep(1.0)
