"""One job worked to its end in this process: the engine without the channel, for unattended runs and scripts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asleft.book.shelf import load_book
from asleft.event.envelope import Event
from asleft.link.bus_link import BusLink
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock
from asleft.ports.person import Person
from asleft.record.journal import open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy

from .desk import Desk
from .engine import read_order, work_job
from .keyring import load_key
from .papers import write_papers
from .settings import BOOK


@dataclass(frozen=True)
class JobRequest:
    """What to work.

    Attributes:
        folder: data folder with journal and key.
        out: folder for the papers.
        number: job's number.
        order: as a page or a command gives it (see ``engine.read_order``).
        modules: where the car's modules listen.
        workshop, technician: who works.
    """

    folder: Path
    out: Path
    number: str
    order: dict[str, Any]
    modules: ModuleMap
    workshop: str
    technician: str


async def work_single(request: JobRequest, bus: Bus, clock: Clock, person: Person) -> tuple[str, tuple[Event, ...]]:
    """Work a job on a bus to its end, sign it, write its papers; the papers come also when it stops on the way.

    Returns: head hash and all events.
    Raises: AsleftError: it stopped, after its papers were written.
    """
    link = BusLink(bus, clock)
    desk = Desk(link, clock, person, load_book(BOOK), request.modules, request.workshop, request.technician)
    order = read_order(request.order, request.number)
    with open_journal(request.folder, key=load_key(request.folder)) as journals:
        journal = journals.create(request.number, source=link, clock=clock)
        try:
            await work_job(desk, journal, order, WritesPolicy())
        finally:
            head = write_papers(request.folder, journal, request.out)
        return head, journal.events()
