"""One job worked to its end in this process: the engine without the channel, for unattended runs and scripts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asleft.book.shelf import load_book
from asleft.event.envelope import Event
from asleft.link.bus_link import BusLink
from asleft.model.fact import Fact
from asleft.model.question import Answer, Question
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock
from asleft.ports.person import Person
from asleft.record.journal import JobJournal, open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy

from .desk import Desk
from .engine import read_order, work_job
from .facts import read_facts, state_facts
from .keyring import load_key
from .line import BEFORE_CLOSING
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
        facts: what the workshop's settings say; stated at the record's begin.
        at_the_end: facts as an order gives them, stated when the record is about to be closed.
    """

    folder: Path
    out: Path
    number: str
    order: dict[str, Any]
    modules: ModuleMap
    workshop: str
    technician: str
    facts: tuple[Fact, ...] = ()
    at_the_end: tuple[dict[str, Any], ...] = ()


async def work_single(request: JobRequest, bus: Bus, clock: Clock, person: Person) -> tuple[str, tuple[Event, ...]]:
    """Work a job on a bus to its end, sign it, write its papers; the papers come also when it stops on the way.

    Returns: head hash and all events.
    Raises: AsleftError: it stopped, after its papers were written.
    """
    link = BusLink(bus, clock)
    order = read_order(request.order, request.number)
    with open_journal(request.folder, key=load_key(request.folder)) as journals:
        journal = journals.create(request.number, source=link, clock=clock)
        said = _States(person, journal, read_facts(request.at_the_end))
        book, names = load_book(BOOK), (request.workshop, request.technician)
        desk = Desk(link, clock, said, book, request.modules, *names, facts=request.facts)
        try:
            await work_job(desk, journal, order, WritesPolicy())
        finally:
            head = write_papers(request.folder, journal, request.out)
        return head, journal.events()


class _States:
    """A person who states facts before confirming that the record is closed, as one would on the page."""

    def __init__(self, person: Person, journal: JobJournal, facts: tuple[Fact, ...]) -> None:
        self._person, self._journal, self._facts = person, journal, facts

    @property
    def wants_stop(self) -> bool:
        """Whether the person says stop."""
        return self._person.wants_stop

    async def answer(self, question: Question) -> Answer:
        """The person's answer."""
        answer = await self._person.answer(question)
        if question.message.id == BEFORE_CLOSING:
            state_facts(self._journal, self._facts, answer.by)
        return answer
