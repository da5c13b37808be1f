"""Jobs in every state, written into a real journal from events of the bench car's job or made by hand; and a stand-in
for the engine on the real channel, which says what is in hand and takes down what it is told.
"""

from __future__ import annotations

import asyncio
import atexit
import os
import threading
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from tempfile import gettempdir, mkdtemp
from types import TracebackType
from typing import Any, Self

import msgspec

from asleft.book.shelf import load_book
from asleft.event import body as b
from asleft.event.envelope import Event, decode, stored_bytes
from asleft.event.fold import JobState
from asleft.job.channel import ChannelServer, LiveFeed
from asleft.job.planning import needs_and_plan
from asleft.job.settings import BOOK
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.origin import Origin
from asleft.plan.work_items import find_work_item
from asleft.record.journal import open_journal
from kit.bench_job import play
from kit.events import Job, opened
from kit.record_kit import HandClock, Source


@cache
def whole_job() -> tuple[Event, ...]:
    """All events of one complete job on the bench car in virtual time; the workers of one test run play it once."""
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID", "")
    kept = Path(gettempdir()) / f"asleft-whole-job-{run}.jsonl" if run else None
    if kept and kept.exists():
        return tuple(decode(line) for line in kept.read_bytes().splitlines())
    outcome = play(Path(mkdtemp(prefix="asleft-gallery-")))
    assert outcome.error is None
    if kept:
        part = kept.with_suffix(f".{os.getpid()}")
        part.write_bytes(b"".join(stored_bytes(event) + b"\n" for event in outcome.events))
        part.replace(kept)
        atexit.register(kept.unlink, missing_ok=True)
    return outcome.events


def cut_after(events: Iterable[Event], body: type, number: int = 1, question: str = "") -> tuple[Event, ...]:
    """The events up to the ``number``-th with this body; of a question also with this message id."""
    kept: list[Event] = []
    seen = 0
    for event in events:
        kept.append(event)
        if not isinstance(event.body, body):
            continue
        if question and not (isinstance(event.body, b.QuestionAsked) and event.body.question.message.id == question):
            continue
        seen += 1
        if seen == number:
            return tuple(kept)
    raise AssertionError(f"no {number}. {body.__name__} {question}")


def store(folder: Path, number: str, bodies: Iterable[b.Body], origin: Origin = Origin.BENCH) -> None:
    """Write a job into the folder's journal, event by event, through the journal itself."""
    with open_journal(folder) as journals:
        journal = journals.create(number, source=Source(origin), clock=HandClock())  # pyright: ignore[reportArgumentType]
        for body in bodies:
            add(journal, body)
        journal.give_back()


def add(journal: Any, body: b.Body) -> None:
    """One event; an intent takes its own way, so that its receipt exists; a closing event counts what is there."""
    if isinstance(body, b.IntentWritten):
        journal.redeem(journal.intend(body.intent))
    elif isinstance(body, b.JobClosed):
        journal.append(msgspec.structs.replace(body, counts=journal.counts()), actor="M. Okafor")
    else:
        journal.append(body, actor="M. Okafor")


def bodies(events: Iterable[Event]) -> list[b.Body]:
    """Bodies only, to be written again."""
    return [event.body for event in events]


#: Commands that the stand-in takes and does nothing about.
TAKEN = (
    *("open-job", "answer", "stop", "go-on", "bench-act"),
    *("take-control", "hand-over", "pause", "extend-picture", "state-facts", "choose-order"),
)


class StandIn:
    """Answers on the engine's channel in the engine's place.

    Attributes:
        job: number it says is in hand. feed: what it puts here is live. told: commands it got, in order.
        refusal: when set, every command but ``status`` is refused with it.
    """

    def __init__(self, folder: Path, *, bench: bool = True) -> None:
        self.job = ""
        self.bench = bench
        self.feed = LiveFeed()
        self.told: list[dict[str, Any]] = []
        self.refusal: AsleftError | None = None
        self._loop = asyncio.new_event_loop()
        self._server = ChannelServer(
            folder,
            {
                "status": self._status,
                **dict.fromkeys(TAKEN, self._take),
                "attach": self._attach,
            },
            self.feed,
        )
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._ready = threading.Event()
        self._stop = asyncio.Event()

    async def _status(self, _request: dict[str, Any]) -> dict[str, Any]:
        return {
            "origin": "bench",
            "link": "stand-in",
            "workshop": "Gable Street Motors (fictional)",
            "technician": "M. Okafor",
            "job": self.job,
            "bench": self.bench,
        }

    async def _take(self, request: dict[str, Any]) -> Any:
        self.told.append({k: v for k, v in request.items() if k != "token"})
        if self.refusal is not None:
            raise self.refusal
        if request["command"] == "open-job":
            raise InputError(Code.INTERNAL, "the stand-in opens no jobs")
        return None

    async def _attach(self, request: dict[str, Any]) -> str:
        await self._take(request)
        return "sha256:stand-in"

    def forget(self) -> None:
        """As at the beginning: nothing in hand, told, refused or live."""
        self.job, self.refusal = "", None
        self.told.clear()
        self._loop.call_soon_threadsafe(self.feed.clear)

    def put(self, key: str, value: Any) -> None:
        """A live value."""
        self._loop.call_soon_threadsafe(self.feed.put, key, value)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve())
        self._loop.close()

    async def _serve(self) -> None:
        await self._server.start()
        self._ready.set()
        await self._stop.wait()
        await self._server.stop()
        others = [t for t in asyncio.all_tasks() if t is not asyncio.current_task()]
        await asyncio.gather(*others, return_exceptions=True)

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._ready.wait(30)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(30)


def free_job(number: str = "J-9") -> tuple[Event, ...]:
    """A job with its plan and nothing begun, of which one thing may be done at any time."""
    bare = opened()
    assert bare.vehicle is not None
    work = ("throttle body removed, cleaned and refitted", "windscreen replaced")
    body = msgspec.structs.replace(bare, work_items=tuple(find_work_item(words) for words in work))
    found, plan = needs_and_plan(JobState(opened=body), load_book(BOOK))
    return Job(number).add(body, b.NeedsFound(found.needs), b.PlanMade(plan)).done()
