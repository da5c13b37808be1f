"""What faces use: commands to the engine, the tail of a job's events, its folded state, ready figures and papers.

The record is read straight from the journal (read only), so a page works while the engine is busy, and after it ended.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Any

from asleft.event.envelope import Event
from asleft.event.fold import JobState, fold
from asleft.model.errors import Code, RecordError
from asleft.plan.work_items import WORK_ITEMS
from asleft.record.tail import Tail, jobs_in

from .channel import ChannelClient
from .papers import record_path, stored_report


class Watch:
    """One job followed by its events."""

    def __init__(self, folder: Path, job: str) -> None:
        self._tail = Tail(folder, job)
        self._events: list[Event] = []
        self._state = JobState()
        self._head = ""

    @property
    def state(self) -> JobState:
        """State after the newest event; looks for new ones first."""
        self.poll()
        return self._state

    @property
    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        self.poll()
        return tuple(self._events)

    @property
    def head(self) -> str:
        """Hash of the newest event; empty before the first."""
        self.poll()
        return self._head

    def poll(self) -> tuple[Event, ...]:
        """Events that are new since the last look."""
        links = self._tail.links()
        new = tuple(link.event for link in links)
        if links:
            self._events += new
            self._state = fold(new, self._state)
            self._head = links[-1].hash
        return new

    def after(self, sequence: int) -> tuple[Event, ...]:
        """Events after a sequence number: what a page that slept has missed."""
        return tuple(e for e in self.events if e.sequence > sequence)

    def close(self) -> None:
        """Let go of the file."""
        self._tail.close()


class JobClient:
    """Commands and views of the jobs in one data folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._channel = ChannelClient(folder)
        self._watches: dict[str, Watch] = {}

    # -- reading -----------------------------------------------------------------------------------------------------

    def jobs(self) -> tuple[str, ...]:
        """Numbers of all jobs, oldest first."""
        return jobs_in(self._folder)

    def watch(self, job: str) -> Watch:
        """Follow a job. Raises RecordError (job-unknown)."""
        if job not in self._watches:
            if job not in self.jobs():
                raise RecordError(Code.JOB_UNKNOWN, job)
            self._watches[job] = Watch(self._folder, job)
        return self._watches[job]

    def work_items(self) -> tuple[tuple[str, str], ...]:
        """Id and words of every work item that can be chosen."""
        return tuple((item.id, item.text) for item in WORK_ITEMS)

    # -- papers ------------------------------------------------------------------------------------------------------

    def head(self, job: str) -> str:
        """Hash of the job's last event."""
        return self.watch(job).head

    def is_signed(self, job: str) -> bool:
        """Whether the engine has written the signed record (again, when the job went on after a stop)."""
        return record_path(self._folder, job).is_file()

    def record_zip(self, job: str) -> bytes:
        """The signed record. Raises RecordError (job-unknown): the engine has not signed it yet."""
        try:
            return record_path(self._folder, job).read_bytes()
        except OSError as error:
            raise RecordError(Code.JOB_UNKNOWN, f"{job} is not signed yet") from error

    def report_pdf(self, job: str, paper: str = "", language: str = "") -> bytes:
        """The report of the job as it stands; paper and language empty: as the workshop's settings say."""
        return stored_report(self._folder, job, paper, **({"language": language, "locale": ""} if language else {}))

    # -- commands ----------------------------------------------------------------------------------------------------

    async def open_job(self, order: dict[str, Any]) -> str:
        """Open a job: ``vin``, ``work_items`` (ids), ``make``, ``model``, ``year``. Returns its number."""
        return str(await self._channel.call("open-job", order=order))

    async def answer(self, job: str, question: str, text: str, by: str, device: str = "") -> None:
        """Answer an open question; the first confirmation of an effect takes control for ``by`` on ``device``.

        Raises: RunError: it is not open any more, or the answer does not fit; control-held.
        """
        await self._channel.call("answer", job=job, question=question, text=text, by=by, device=device)

    async def take_control(self, job: str, by: str, device: str, reason: str = "") -> None:
        """Take control of the car; from another holder only with a reason. Raises RunError (control-held)."""
        await self._channel.call("take-control", job=job, by=by, device=device, reason=reason)

    async def hand_over(self, job: str, by: str, device: str, to_by: str = "", to_device: str = "") -> None:
        """Give control to somebody, or up when nobody is named. Raises RunError (control-held)."""
        await self._channel.call("hand-over", job=job, by=by, device=device, to_by=to_by, to_device=to_device)

    async def stop(self, job: str) -> None:
        """Say stop."""
        await self._channel.call("stop", job=job)

    async def pause(self, job: str) -> None:
        """Ask the run in hand to pause before its next step; its question then goes on with it."""
        await self._channel.call("pause", job=job)

    async def choose_order(self, job: str, order: Sequence[str], by: str, device: str, reason: str) -> None:
        """Have the rest of the plan worked in another order: all its functions, as ``moving.try_order`` names them.

        Raises: InputError (order-refused): what forbids it, with its reason; RunError (control-held).
        """
        await self._channel.call("choose-order", job=job, order=list(order), by=by, device=device, reason=reason)

    async def attach(self, job: str, name: str, content: bytes) -> str:
        """Keep a document by its content. Returns what answers the question that asks for it. Raises RunError."""
        return str(await self._channel.call("attach", job=job, name=name, content=b64encode(content).decode()))

    async def extend_picture(
        self, job: str, picture: str, said: dict[str, str], document: tuple[str, bytes] | None = None
    ) -> None:
        """Add to a picture what a person read off another screen or a gauge, or a document that shows it.

        Args: said: ``by``, ``name``, ``value``, ``unit``, ``module``, ``source``. document: file name and content.
        Raises: RunError: the picture is not taken yet, or something is missing.
        """
        paper = {"document": document[0], "content": b64encode(document[1]).decode()} if document else {}
        await self._channel.call("extend-picture", job=job, picture=picture, **said, **paper)

    async def state_facts(self, job: str, by: str, facts: list[dict[str, str]]) -> None:
        """State facts that no module tells. Raises RunError: another job is in hand; InputError (fact-bad)."""
        await self._channel.call("state-facts", job=job, by=by, facts=facts)

    async def go_on(self, job: str) -> None:
        """Take a stopped job up again where it stands."""
        await self._channel.call("go-on", job=job)

    async def bench_act(self, act: str) -> None:
        """Let the bench driver do an act; only where the engine works on a bench car."""
        await self._channel.call("bench-act", act=act)

    async def engine(self) -> dict[str, Any]:
        """What the engine says of itself: origin, link, workshop, technician. Raises RunError (engine-absent)."""
        return dict(await self._channel.call("status"))

    def live(self) -> AsyncIterator[dict[str, Any]]:
        """The engine's live feed: newest values, lossy."""
        return self._channel.watch()
