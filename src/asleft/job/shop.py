"""Jobs for scripts, notebooks and commands: what the page does, without a loop of one's own.

Example::

    shop = Shop(Path("workshop"))
    number = shop.open_job("A0ALDR160S000417X", ["throttle body removed, cleaned and refitted"], make="Aldra")
    question = shop.wait_question(number)
    shop.answer(number, question.choices[0], by="M. Okafor")
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Coroutine, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from asleft.event.envelope import Event
from asleft.event.fold import JobState
from asleft.model.errors import Code, RunError
from asleft.model.question import Question

from .client import JobClient
from .moving import Tried, try_order
from .settings import data_folder

T = TypeVar("T")

#: How often the journal is looked at while something is waited for, s.
_LOOK_S = 0.1
#: What a script is called on the record, unless it says otherwise.
DEVICE = "command line"


class Shop:
    """The jobs of one data folder. Reading works at any time; commands need the engine (``asleft serve``).

    Every command raises AsleftError as the engine says it, or RunError (engine-absent).

    Args: folder: data folder; None: ``ASLEFT_DATA`` or the user's own. device: what this program is called.
    """

    def __init__(self, folder: Path | None = None, device: str = DEVICE) -> None:
        self._client = JobClient(folder or data_folder())
        self._device = device

    # -- reading -----------------------------------------------------------------------------------------------------

    def jobs(self) -> tuple[str, ...]:
        """Numbers of all jobs, oldest first."""
        return self._client.jobs()

    def state(self, job: str) -> JobState:
        """A job as its events say now. Raises RecordError (job-unknown)."""
        return self._client.watch(job).state

    def events(self, job: str) -> tuple[Event, ...]:
        """All events of a job. Raises RecordError (job-unknown)."""
        return self._client.watch(job).events

    def question(self, job: str) -> Question | None:
        """What is asked now; None when nothing is."""
        state = self.state(job)
        return state.waiting_for if state.closed is None and state.stopped is None else None

    def follow(self, job: str, seconds: float = float("inf"), after: int = 0) -> Iterator[Event]:
        """Events after a sequence number as they come, until the job is closed or stops, or the time is over.

        Args: seconds: how long nothing may come.
        """
        watch, until_s = self._client.watch(job), time.monotonic() + seconds
        while True:
            for event in watch.after(after):
                after, until_s = event.sequence, time.monotonic() + seconds
                yield event
            if watch.state.closed is not None or watch.state.stopped is not None or time.monotonic() > until_s:
                return
            time.sleep(_LOOK_S)

    def wait_question(self, job: str, seconds: float = 600.0, other_than: str = "") -> Question | None:
        """The question that is asked next; None when the job is closed or stops first.

        Args: other_than: id of the question that was just answered. Raises RunError (waited-in-vain).
        """
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s:
            state, asked = self.state(job), self.question(job)
            if asked is not None and asked.id != other_than:
                return asked
            if state.closed is not None or state.stopped is not None:
                return None
            time.sleep(_LOOK_S)
        raise RunError(Code.WAITED_IN_VAIN, f"{job}: no question within {seconds:g} s")

    def record_zip(self, job: str) -> bytes:
        """The signed record. Raises RecordError (job-unknown): not signed yet."""
        return self._client.record_zip(job)

    def report_pdf(self, job: str) -> bytes:
        """The report of the job as it stands."""
        return self._client.report_pdf(job)

    def try_order(self, job: str, names: Sequence[str] = ()) -> Tried:
        """What another order costs or breaks; without names the best one. Nothing is written."""
        return try_order(self.state(job), names)

    # -- commands ----------------------------------------------------------------------------------------------------

    def engine(self) -> dict[str, Any]:
        """What the engine says of itself: origin, link, workshop, technician, job in hand."""
        return _now(self._client.engine())

    def open_job(
        self,
        vin: str,
        work: Sequence[str],
        *,
        make: str = "",
        model: str = "",
        year: int | None = None,
        order: str = "",
    ) -> str:
        """Open a job and begin it. Returns its number.

        Args: work: work items by id or words. order: the workshop's order, or what the customer says.
        """
        said = {"vin": vin, "work_items": list(work), "make": make, "model": model, "year": year, "order": order}
        return _now(self._client.open_job(said))

    def answer(self, job: str, text: str, by: str, question: str = "") -> None:
        """Answer what is asked; the first confirmation of an effect takes control.

        Args: text: one of its choices, or what was to be typed. question: its id; empty: the open one.
        """
        asked = self.question(job)
        _now(self._client.answer(job, question or (asked.id if asked else ""), text, by, self._device))

    def stop(self, job: str) -> None:
        """Say stop; anybody may."""
        _now(self._client.stop(job))

    def pause(self, job: str) -> None:
        """Pause the run in hand before its next step."""
        _now(self._client.pause(job))

    def go_on(self, job: str) -> None:
        """Take a stopped job up again where it stands."""
        _now(self._client.go_on(job))

    def take_control(self, job: str, by: str, reason: str = "") -> None:
        """Take control of the car; from another holder only with a reason."""
        _now(self._client.take_control(job, by, self._device, reason))

    def hand_over(self, job: str, by: str, to: str = "", to_device: str = "") -> None:
        """Give control to somebody, on this device unless another is named; up when nobody is named."""
        _now(self._client.hand_over(job, by, self._device, to, to_device or (self._device if to else "")))

    def choose_order(self, job: str, names: Sequence[str], by: str, reason: str) -> None:
        """Have the rest of the plan worked in another order."""
        _now(self._client.choose_order(job, names, by, self._device, reason))


def _now(command: Coroutine[Any, Any, T]) -> T:
    """Carry a command out, also where a loop runs already (a notebook)."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return asyncio.run(command)
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - only beside a running loop

    with ThreadPoolExecutor(1) as beside:
        return beside.submit(asyncio.run, command).result()
