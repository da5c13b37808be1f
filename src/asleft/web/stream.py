"""Server-sent events of one job: changed parts of the sheet with the journal's sequence as id, and live values.

One connection carries both, because a browser allows few of them to one server. Parts are sent ready, so that a page
never shows half of a change. Source: WHATWG HTML, server-sent events (id, Last-Event-ID).
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any

from sse_starlette import EventSourceResponse, ServerSentEvent

from asleft.event.fold import fold
from asleft.job.client import Watch
from asleft.model.errors import AsleftError

from .live import LiveHub
from .pages import Pages, Viewer
from .parts import all_parts, parts_of
from .sight import EngineSight
from .stage import in_hand

#: How often the journal is looked at, s; a look costs almost nothing when nothing was written.
_LOOK_S = 0.1
#: Beyond this many missed events a page gets all parts anew.
_MANY = 400
#: How long a browser waits before it comes again, ms.
_RETRY_MS = 1000


@dataclass(frozen=True)
class Sources:
    """Where a page's news come from."""

    pages: Pages
    hub: LiveHub
    sight: EngineSight


class Follower:
    """One page that follows one job.

    Args:
        sources: where news come from. watch: the job. viewer: how this page is shown. after: last sequence it has.
    """

    def __init__(self, sources: Sources, watch: Watch, viewer: Viewer, job: str, after: int) -> None:
        self._sources = sources
        self._watch = watch
        self._viewer = viewer
        self._job = job
        self._sent = after
        self._stage = in_hand(fold(e for e in watch.events if e.sequence <= after))
        self._engine: object = None
        self._live: object = None
        self._told: dict[str, object] = {}

    async def news(self) -> AsyncIterator[ServerSentEvent]:
        """What changed since the last look, if anything."""
        engine = await self._sources.sight.look()
        if self._watch.after(self._sent):
            yield await self._journal()
        elif (engine.present, engine.job) != self._engine:
            # the engine began or left this job: what is next and what may be fetched follow from it
            yield _parts(await self._sources.pages.parts(self._job, ("outcome", "record", "next"), self._viewer))
        self._engine = (engine.present, engine.job)
        key = self._sources.hub.view.key if engine.job == self._job else ()
        if key != self._live:
            self._live = key
            live = self._sources.pages.live(self._job, self._sources.hub.view, self._viewer) if key else {"html": ""}
            yield ServerSentEvent(json.dumps(self._changed(live)), event="live")

    def _changed(self, live: dict[str, Any]) -> dict[str, Any]:
        """Values always; progress and beats only when they are other ones than this page has."""
        keys = {"progress": live.get("progress", ""), "beats": live.get("beats", {}).get("key", "")}
        other = {name for name, key in keys.items() if self._told.get(name, "") != key}
        self._told = dict(keys)
        return {name: value for name, value in live.items() if name == "html" or name in other}

    async def _journal(self) -> ServerSentEvent:
        """All new events as one message: the parts they change, as they are now."""
        new = self._watch.after(self._sent)
        stage = in_hand(self._watch.state)
        names = all_parts() if len(new) > _MANY else parts_of(new, self._stage, stage)
        first, self._sent, self._stage = new[0].sequence, new[-1].sequence, stage
        parts = await self._sources.pages.parts(self._job, names, self._viewer)
        return _parts(parts, stage=stage, first=first, last=self._sent)


def _parts(parts: dict[str, str], *, stage: str | None = None, first: int = 0, last: int = 0) -> ServerSentEvent:
    if stage is None:
        return ServerSentEvent(json.dumps({"parts": parts}), event="page")
    data = {"parts": parts, "stage": stage, "first": first, "last": last}
    return ServerSentEvent(json.dumps(data), id=str(last), event="journal")


def follow_job(follower: Follower, hub: LiveHub) -> EventSourceResponse:
    """The stream of one page, until it goes away."""

    async def follow() -> AsyncIterator[ServerSentEvent]:
        loop = asyncio.get_running_loop()
        yield ServerSentEvent(comment="asleft", retry=_RETRY_MS)
        async with hub.watching() as woken:
            while True:
                try:
                    async for message in follower.news():
                        yield message
                except AsleftError as error:  # the record cannot be read: say so and let the page come again
                    yield ServerSentEvent(json.dumps({"error": error.sentence()}), event="problem")
                    return
                timer = loop.call_later(_LOOK_S, woken.set)
                await woken.wait()
                timer.cancel()
                woken.clear()

    return EventSourceResponse(follow(), ping=10)
