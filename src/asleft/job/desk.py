"""What a job is worked with: link, conversation, signals, person, clock, book and the workshop's settings."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from asleft.book.car_map import CarMap
from asleft.book.shelf import Book
from asleft.live.mapped import MappedSignal
from asleft.model.fact import Fact
from asleft.model.message import Message
from asleft.model.work import Vehicle, WorkItem
from asleft.plan.workshop import Workshop
from asleft.ports.access import AccessKey
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.messages import MessageLink
from asleft.ports.person import Person
from asleft.run.log import Show
from asleft.talk.modules import ModuleMap

from .course import Course


def _nothing(_key: str, _value: object) -> None:
    """Show nothing."""


async def _not_known(_procedure: str, _origin: str) -> float | None:
    """No history to ask."""
    return None


#: What a procedure usually takes in this shop, s, by its id and the origin; None: not known.
Usual = Callable[[str, str], Awaitable[float | None]]


@dataclass(frozen=True)
class Order:
    """A repair order: the car and what is done to it.

    Attributes:
        number: job's number.
        vehicle: the car.
        work_items: what was or will be done.
        order: the workshop's own order reference.
        facts: what a person states at the counter that no module tells.
    """

    number: str
    vehicle: Vehicle
    work_items: tuple[WorkItem, ...]
    order: str = ""
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Desk:
    """Everything a job is worked with.

    Attributes:
        workshop: name that stands on the report.
        technician: who signs.
        modules: where this car's modules listen, as the workshop knows it.
        show: live values for screens; lossy.
        gate_timeout_s: longest wait for entry conditions, s.
        mapped: signals that modules of this car give by data identifier, as the workshop's map of it says.
        car_map: the map that modules and mapped come from; None: none of the workshop's maps was chosen.
        minutes: the workshop's own minutes, chances and waits for the plan.
        notes: remarks for the record's begin.
        facts: what the workshop's settings and this machine say at the record's begin.
        course: what of the plan has begun, while the job is in hand.
        key: the workshop's own authorised way to access keys; None: it has none.
        usual: what a procedure usually takes in this shop.
    """

    link: Link | MessageLink
    clock: Clock
    person: Person
    book: Book
    modules: ModuleMap
    workshop: str
    technician: str
    show: Show = field(default=_nothing)
    gate_timeout_s: float = 1800.0
    key: AccessKey | None = None
    mapped: tuple[MappedSignal, ...] = ()
    car_map: CarMap | None = None
    minutes: Workshop = field(default_factory=Workshop)
    notes: tuple[Message, ...] = ()
    facts: tuple[Fact, ...] = ()
    course: Course = field(default_factory=Course)
    usual: Usual = _not_known
