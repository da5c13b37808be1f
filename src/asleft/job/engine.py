"""The engine: owns the link, the journal's pen and the run; takes commands; works one car at a time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from asleft.event.fold import fold
from asleft.live.together import CarSignals
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.vin import parse_vin
from asleft.model.work import Vehicle
from asleft.plan.work_items import find_work_item
from asleft.record.journal import JobJournal, open_journal
from asleft.talk.conversations import Conversations
from asleft.talk.pace import CarPace
from asleft.talk.policy import WritesPolicy

from .attaching import attach, extend_picture
from .car_maps import heard_on, with_map
from .channel import ChannelServer, LiveFeed
from .control import ControlLease, holder_in
from .course import Course, begun_in, chosen_order
from .desk import Desk, Order
from .facts import previous_from, read_facts, state_facts
from .keyring import load_key
from .line import JobLine
from .own_book import with_own
from .paces import keep_pace, read_pace
from .papers import write_papers
from .person import CommandPerson
from .plans import own_minutes
from .usual import usual_from

BenchAct = Callable[[str], Awaitable[None]]


def read_order(order: dict[str, Any], number: str) -> Order:
    """An order as a page or a command gives it.

    Raises: InputError: vin-length, vin-character, unknown-work-item, fact-bad.
    """
    year = order.get("year")
    vehicle = Vehicle(
        parse_vin(str(order["vin"])),
        str(order.get("make", "")),
        str(order.get("model", "")),
        int(year) if year else None,
        order.get("displacement_l"),
    )
    items = tuple(find_work_item(str(item)) for item in order["work_items"])
    if not items:
        raise InputError(Code.UNKNOWN_WORK_ITEM, "nothing was chosen")
    return Order(number, vehicle, items, str(order.get("order", "")), read_facts(order.get("facts", ())))


async def work_job(
    desk: Desk, journal: JobJournal, order: Order, policy: WritesPolicy, cars: Path | None = None
) -> None:
    """One job on one link, from the open order to the closed record; modules are left in their default session.

    Args: cars: data folder in which what the car has proved to bear is kept; None: it is met as a stranger.
    Raises: AsleftError: the job stopped and says why.
    """
    await desk.link.open()
    known = read_pace(cars, order.vehicle.vin, desk.link.origin) if cars else CarPace()
    conversation = Conversations(desk.link, desk.clock, journal.redeem, policy, known=known)
    try:
        heard = heard_on(desk.link, desk.car_map)
        signals = CarSignals(conversation, desk.clock, mapped=desk.mapped, heard=heard)
        deaf = signals.listen()
        try:
            await JobLine(desk, journal, conversation, signals).work(order)
        finally:
            deaf()
    finally:
        await asyncio.shield(conversation.close())
        await desk.link.close()
        if cars:
            keep_pace(cars, fold(journal.events()), conversation.proved)


class Engine:
    """Jobs in one data folder, commands over the channel.

    Args:
        folder: data folder.
        desk: link, book, workshop; its person must be a CommandPerson.
        policy: whether effects may go to a vehicle.
        bench_act: does a bench driver's act; None where the link is no bench.
    """

    def __init__(
        self, folder: Path, desk: Desk, policy: WritesPolicy, feed: LiveFeed, bench_act: BenchAct | None = None
    ) -> None:
        self._folder = folder
        self._desk = desk
        self._policy = policy
        self._feed = feed
        self._bench_act = bench_act
        self._journals = open_journal(folder, key=load_key(folder))
        self._task: asyncio.Task[None] | None = None
        self._job = ""
        self._journal: JobJournal | None = None
        self._control: ControlLease | None = None
        self._course = Course()
        self._server = ChannelServer(
            folder,
            {
                "status": self._status,
                "open-job": self._open_job,
                "go-on": self._go_on,
                "answer": self._answer,
                "take-control": self._take_control,
                "hand-over": self._hand_over,
                "stop": self._stop,
                "pause": self._pause,
                "choose-order": self._choose_order,
                "attach": self._attach,
                "extend-picture": self._extend_picture,
                "state-facts": self._state_facts,
                "bench-act": self._act,
            },
            feed,
        )

    async def serve(self, until: asyncio.Event, ready: Callable[[], None] = lambda: None) -> None:
        """Take commands until told to end; then stop the job in hand with everything it opened closed.

        Args: ready: called once commands are heard.
        """
        await self._server.start()
        ready()
        try:
            await until.wait()
        finally:
            await self._server.stop()
            await self._end_job()
            self._journals.close()

    # -- commands ----------------------------------------------------------------------------------------------------

    async def _status(self, _request: dict[str, Any]) -> dict[str, Any]:
        link = self._desk.link
        return {
            "origin": link.origin.value,
            "link": link.name,
            "workshop": self._desk.workshop,
            "technician": self._desk.technician,
            "job": self._job if self._busy else "",
            "bench": self._bench_act is not None,
            "control": self._control.holder._asdict() if self._control and self._busy else None,
        }

    async def _open_job(self, request: dict[str, Any]) -> str:
        self._refuse_when_busy()
        await self._find_link()
        number = self._next_number()
        order = read_order(request["order"], number)
        desk = self._prepared(order.vehicle)
        before = await asyncio.to_thread(previous_from, self._folder, order.vehicle.vin.text, desk.link.origin.value)
        desk = replace(desk, facts=(*desk.facts, *before))
        self._begin(desk, self._journals.create(number, source=self._desk.link, clock=self._desk.clock), order)
        return number

    async def _go_on(self, request: dict[str, Any]) -> str:
        self._refuse_when_busy()
        await self._find_link()
        number = str(request["job"])
        journal = self._journals.reopen(number, source=self._desk.link, clock=self._desk.clock)
        first = journal.events()[0].body
        vehicle, items = getattr(first, "vehicle", None), getattr(first, "work_items", ())
        if vehicle is None:
            raise InputError(Code.JOB_UNKNOWN, number)
        self._begin(self._prepared(vehicle), journal, Order(number, vehicle, items))
        return number

    async def _answer(self, request: dict[str, Any]) -> None:
        control = self._control_of(request)
        question_id, text, by = str(request["question"]), str(request["text"]), str(request["by"])
        control.confirm(self._person.check(question_id, text, by), text, holder_in(request))
        self._person.give(question_id, text, by)

    async def _take_control(self, request: dict[str, Any]) -> None:
        self._control_of(request).take(holder_in(request), str(request.get("reason", "")))

    async def _hand_over(self, request: dict[str, Any]) -> None:
        self._control_of(request).hand_over(holder_in(request), holder_in(request, "to_"))

    async def _stop(self, request: dict[str, Any]) -> None:
        self._only_in_hand(request)
        self._person.stop()

    async def _pause(self, request: dict[str, Any]) -> None:
        """Before the next step of the run in hand; the question that then comes goes on with it."""
        self._only_in_hand(request)
        self._person.pause()

    async def _choose_order(self, request: dict[str, Any]) -> None:
        """Take another order for the rest of the plan; only who may confirm effects."""
        control, journal = self._control_of(request), self._journal
        assert journal is not None
        who, names = holder_in(request), [str(name) for name in request["order"]]
        control.only(who)
        reason, state = " ".join(str(request.get("reason", "")).split()), fold(journal.events())
        chosen = await asyncio.to_thread(chosen_order, state, self._course, names, who.by, reason)
        if begun_in(fold(journal.events()), self._course) != begun_in(state, self._course):
            raise InputError(Code.ORDER_REFUSED, "the job went on meanwhile; look at the plan again")
        journal.append(chosen, actor=who.by)

    async def _attach(self, request: dict[str, Any]) -> str:
        """Keep a document; the result is the answer to the question that asks for it."""
        self._only_in_hand(request)
        return attach(self._folder, str(request["name"]), str(request["content"]))

    async def _extend_picture(self, request: dict[str, Any]) -> None:
        """Add a value or a document to a picture that was taken."""
        self._only_in_hand(request)
        assert self._journal is not None
        extend_picture(self._folder, self._journal, request)

    async def _state_facts(self, request: dict[str, Any]) -> None:
        """Write down what no module tells: odometer, parts, the road test, who approves."""
        self._only_in_hand(request)
        assert self._journal is not None
        state_facts(self._journal, read_facts(request["facts"]), str(request["by"]))

    async def _act(self, request: dict[str, Any]) -> None:
        if self._bench_act is None:
            raise InputError(Code.ACT_UNKNOWN, "this is no bench car")
        await self._bench_act(str(request["act"]))

    # -- the job in hand ---------------------------------------------------------------------------------------------

    @property
    def _person(self) -> CommandPerson:
        assert isinstance(self._desk.person, CommandPerson)
        return self._desk.person

    @property
    def _busy(self) -> bool:
        return self._task is not None and not self._task.done()

    def _control_of(self, request: dict[str, Any]) -> ControlLease:
        self._only_in_hand(request)
        assert self._control is not None
        return self._control

    def _only_in_hand(self, request: dict[str, Any]) -> None:
        """Questions are numbered anew in each job: an answer or a stop meant for another one is refused."""
        if not self._busy or str(request["job"]) != self._job:
            raise InputError(Code.JOB_UNKNOWN, f"{request['job']} is not the job in hand")

    def _refuse_when_busy(self) -> None:
        if self._busy:
            raise InputError(Code.JOB_IN_USE, f"{self._job} is being worked on; finish or stop it first")

    async def _find_link(self) -> None:
        """See that the way to the car is there before anything is stored. Raises LinkError (no-bus)."""
        await self._desk.link.open()
        await self._desk.link.close()

    def _next_number(self) -> str:
        year = datetime.fromisoformat(self._desk.clock.wall()[0]).year
        taken = [j for j in self._journals.list_jobs() if j.startswith(f"{year}-")]
        return f"{year}-{len(taken) + 1:04d}"

    def _prepared(self, vehicle: Vehicle) -> Desk:
        """The desk for one car: its map, the workshop's own minutes. Raises InputError: a file that cannot be used."""
        desk = with_map(self._desk, self._folder, vehicle)
        return replace(desk, minutes=own_minutes(self._folder))

    def _begin(self, desk: Desk, journal: JobJournal, order: Order) -> None:
        self._job, self._journal, self._course = order.number, journal, Course()
        desk = replace(desk, course=self._course)
        self._control = ControlLease(journal)
        self._person.resume()
        self._task = asyncio.get_running_loop().create_task(self._work(desk, journal, order))

    async def _work(self, desk: Desk, journal: JobJournal, order: Order) -> None:
        try:
            with contextlib.suppress(AsleftError):  # it stands in the record as job-stopped, with its advice
                desk = replace(desk, book=with_own(desk.book), usual=usual_from(self._folder))
                await work_job(desk, journal, order, self._policy, self._folder)
        finally:
            if journal.events():
                write_papers(self._folder, journal)
            journal.give_back()

    async def _end_job(self) -> None:
        if self._task is not None and not self._task.done():
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task


def show_on(feed: LiveFeed) -> Callable[[str, Any], None]:
    """The run's live values on the feed, as JSON values; readings under their signal's name."""

    def show(key: str, value: Any) -> None:
        plain = msgspec.to_builtins(value)
        if key == "reading":
            feed.put(f"reading:{plain['signal']}", plain)
        else:
            feed.put(key, plain)

    return show
