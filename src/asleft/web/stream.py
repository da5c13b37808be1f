"""Server-sent events: what changed in the journal, and the live feed.

Source: WHATWG HTML, server-sent events (id, Last-Event-ID).
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from sse_starlette import EventSourceResponse, ServerSentEvent

from asleft.event.envelope import Event, type_of
from asleft.job.client import JobClient, Watch
from asleft.model.errors import AsleftError

from .pages import Pages

#: How often the journal is looked at, s; a look costs almost nothing when nothing was written.
_LOOK_S = 0.15
#: Beyond this many missed events a page is told once to load everything again.
_MANY = 400

#: Event type (without version) -> parts of the sheet it changes. What is not named changes the runs.
PARTS: dict[str, tuple[str, ...]] = {
    "job-opened": ("all",),
    "picture-taken": ("received", "found", "left"),
    "differences-found": ("found", "left"),
    "needs-found": ("needs",),
    "plan-made": ("plan",),
    "codes-screened": ("found",),
    "codes-cleared": ("left", "runs"),
    "item-left-open": ("record",),
    "noted": ("notes",),
    "question-asked": ("next",),
    "question-answered": ("next",),
    "job-stopped": ("next", "record"),
    "job-closed": ("next", "record"),
}


def parts_of(events: tuple[Event, ...]) -> list[str]:
    """Parts of the sheet that these events change, each once."""
    names: dict[str, None] = {}
    for event in events:
        for name in PARTS.get(type_of(event.body).split("@")[0], ("runs",)):
            names[name] = None
    return list(names)


def job_events(watch: Watch, after: int) -> EventSourceResponse:
    """Follow a job from after a sequence number; the id of each message is the newest sequence in it."""

    async def follow() -> AsyncIterator[ServerSentEvent]:
        sent = after
        while True:
            new = watch.after(sent)
            if new:
                sent = new[-1].sequence
                parts = ["all"] if len(new) > _MANY else parts_of(new)
                yield ServerSentEvent(json.dumps({"parts": parts}), id=str(sent), event="journal")
            await asyncio.sleep(_LOOK_S)

    return EventSourceResponse(follow(), ping=10)


def live_values(client: JobClient, pages: Pages, job: str) -> EventSourceResponse:
    """The live feed as rendered pieces; where the engine is away, a line that says so, and another try."""

    async def follow() -> AsyncIterator[ServerSentEvent]:
        while True:
            try:
                async for snapshot in client.live():
                    yield ServerSentEvent(pages.live(job, snapshot), event="live")
            except AsleftError:
                yield ServerSentEvent("", event="away")
            await asyncio.sleep(1.0)

    return EventSourceResponse(follow(), ping=10)
