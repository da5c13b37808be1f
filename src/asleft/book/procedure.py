"""A procedure as data: one function's executable steps for certain cars, with their source.

Procedures are read by ``book.loader`` from files of one closed form; nothing in them is code. What is empty was not
given, and the record says so.
"""

from __future__ import annotations

from enum import StrEnum, unique
from typing import Annotated

import msgspec

from asleft.model.condition import Condition
from asleft.model.step import Agree, Ask, Observe
from asleft.model.step_more import AnyStep, Base, Read, Scaling
from asleft.proof.criterion_data import Criterion

from .edges import OrderEdge
from .fields import CodeText, Slug, Text


@unique
class Propulsion(StrEnum):
    """What drives the car."""

    PETROL = "petrol"
    DIESEL = "diesel"
    HYBRID = "hybrid"
    ELECTRIC = "electric"


@unique
class Throttle(StrEnum):
    """How the pedal reaches the engine."""

    ELECTRONIC = "electronic"
    CABLE = "cable"
    NONE = "none"


class ModuleNumbers(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Part number of a module, and software number where only that one is meant; both exactly as the module says."""

    part_number: Text
    software_number: str = ""

    @property
    def text(self) -> str:
        """One line."""
        return f"{self.part_number} {self.software_number}".strip()

    def meets(self, found: ModuleNumbers) -> bool:
        """Whether a module with these numbers is meant."""
        same = self.part_number == found.part_number
        return same and self.software_number in {"", found.software_number}


class Applies(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Which cars a procedure is for. What is empty is not restricted; without a make it is for no car by itself.

    Attributes:
        make, model: as the workshop writes them; compared without regard to case and spaces.
        years: first and last model year, both included.
        engine: engine code as the source prints it.
        numbers: of its module, one of which must be there.
    """

    make: str = ""
    model: str = ""
    years: tuple[int, int] | None = None
    propulsion: Propulsion | None = None
    throttle: Throttle | None = None
    engine: str = ""
    numbers: tuple[ModuleNumbers, ...] = ()


@unique
class SourceKind(StrEnum):
    """What the numbers come from."""

    LICENSED_MANUAL = "licensed-manual"
    WORKSHOP_NOTE = "workshop-note"
    TEMPLATE = "template"
    FICTIONAL = "fictional"


class Source(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Document, edition and page; who typed the numbers in, and who checked them against the page."""

    title: str = ""
    edition: str = ""
    page: str = ""
    kind: SourceKind = SourceKind.LICENSED_MANUAL
    entered_by: str = ""
    checked_by: str = ""

    @property
    def text(self) -> str:
        """One line for a screen or a report."""
        page = f"page {self.page}" if self.page else ""
        return ", ".join(part for part in (self.title, self.edition, page) if part) or "not given"


class Minutes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Time for the procedure itself, without reaching the car state: technician busy, and by the calendar, min."""

    active: Annotated[float, msgspec.Meta(ge=0)]
    elapsed: Annotated[float, msgspec.Meta(ge=0)]


@unique
class Others(StrEnum):
    """What becomes of a code that is on no list."""

    UNSORTED = "unsorted"
    UNRELATED = "unrelated"


class Screening(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Lists of codes for this function.

    Attributes:
        block: would be learned over, or stop the routine.
        expected: brought by the work or by the missing function; must be gone in the end.
        expected_if_new: expected when first seen as found; seen as received already, they block.
        others: codes of its own module on no list.
        elsewhere: codes of other modules on no list.
    """

    block: tuple[CodeText, ...] = ()
    expected: tuple[CodeText, ...] = ()
    expected_if_new: tuple[CodeText, ...] = ()
    others: Others = Others.UNSORTED
    elsewhere: Others = Others.UNSORTED


@unique
class Asks(StrEnum):
    """What an interlock asks for when it breaks; the running step's own reaction prevails."""

    WARN = "warn"
    STOP = "stop"


class Interlock(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An entry condition that must keep holding while the procedure runs (at its looser limits, where it has them)."""

    holds: Slug
    asks: Asks = Asks.STOP


class IdentifierRow(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One row of the source's table: for exactly this part and software number, this identifier as printed."""

    part_number: Text
    software_number: Text
    identifier: Text
    row: Text


#: Base and form in which a source prints a two-byte identifier.
Printed = Base


class RoutineIdentifier(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where the routine identifier comes from: typed from the manual at the car, or a row of its table, or either.

    Attributes:
        printed: base and form in the source.
        typed: may be typed at the car.
        rows: the source's table.
        where: where in the source it stands.
    """

    printed: Printed
    typed: bool = True
    rows: tuple[IdentifierRow, ...] = ()
    where: str = ""


@unique
class Way(StrEnum):
    """How a procedure is carried out; of equal rank."""

    BY_WIRE = "by-wire"
    BESIDE = "beside"
    BY_HAND = "by-hand"


class Look(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A value to read before the first step and after the last: a data identifier as printed, or signals.

    Attributes:
        name: words. identifier, printed, scaling: of a data identifier of the procedure's module.
        signals: recorded for ``seconds``, s, where there is no identifier.
    """

    id: Slug
    name: Text
    identifier: str = ""
    printed: Base = Base.HEX
    scaling: Scaling = Scaling()
    signals: tuple[Slug, ...] = ()
    seconds: Annotated[float, msgspec.Meta(ge=1)] = 3.0

    def step(self, when: str) -> AnyStep:
        """The step that reads it; ``when``: before, after."""
        name = f"{when}-{self.id}"
        if self.identifier:
            return Read(name, f"{self.name}, {when}", self.identifier, self.printed, self.scaling, name)
        return Observe(name, f"{self.name}, {when}: leave everything as it is", self.signals, self.seconds, name)


class Answering(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A question where signals leave something open, asked before the first step of every way.

    Attributes: choices: answers, at least two. agree: what a signal must show with an answer.
    """

    id: Slug
    text: Text
    choices: Annotated[tuple[Text, ...], msgspec.Meta(min_length=2)]
    agree: tuple[Agree, ...] = ()


class Ways(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Steps for each way of carrying it out; an empty way is not offered.

    Attributes:
        look: values read before the first and after the last step by wire.
        questions: asked before the first step of every way.
    """

    by_wire: tuple[AnyStep, ...] = ()
    beside: tuple[AnyStep, ...] = ()
    by_hand: tuple[AnyStep, ...] = ()
    look: tuple[Look, ...] = ()
    questions: tuple[Answering, ...] = ()

    def all_steps(self, way: Way) -> tuple[AnyStep, ...]:
        """Steps of one way as its list in the file holds them."""
        return {Way.BY_WIRE: self.by_wire, Way.BESIDE: self.beside, Way.BY_HAND: self.by_hand}[way]

    def steps(self, way: Way) -> tuple[AnyStep, ...]:
        """Steps of one way, for carrying out and dry run: with its questions, and what is read before and after."""
        steps = self.all_steps(way)
        if not steps:
            return ()
        look = self.look if way is Way.BY_WIRE else ()
        asked = (Ask(q.id, q.text, q.choices, q.agree) for q in self.questions)
        before, after = (tuple(one.step(when) for one in look) for when in ("before", "after"))
        return (*asked, *before, *steps, *after)

    @property
    def offered(self) -> tuple[Way, ...]:
        """Ways that have steps."""
        return tuple(way for way in Way if self.all_steps(way))


@unique
class Seen(StrEnum):
    """How a run can fail, as far as the program sees it."""

    REFUSED = "refused"
    TOO_LATE = "too-late"
    MISSED = "missed"
    NOT_READY = "not-ready"
    NOT_PROVED = "not-proved"


class NumberSource(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where one number, or all numbers under one field, stand when it is not the source of the whole.

    Attributes: at: field as messages name it, counted from 1: ``entry[3]``, ``criteria[1].limits.high``.
    """

    at: Text
    source: Source


class Cause(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is seen when it fails, and what it mostly comes from, likeliest first.

    Attributes:
        when: runs after which it is shown; empty: after any.
        criteria: criteria of the proof whose failure shows it.
    """

    seen: Text
    causes: tuple[Text, ...]
    when: tuple[Seen, ...] = ()
    criteria: tuple[Slug, ...] = ()


class Procedure(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One function's steps for certain cars.

    Attributes:
        id: name in the book.
        function: slug of the catalogue.
        name: words for a screen.
        revision: counts up with every change.
        risk: 1 low … 4 hard-stop rules.
        module: name of the control module it talks to.
        applies: which cars.
        source: of the whole.
        triggers: work after which it is needed, in words.
        state: car state it is done in.
        minutes: for itself.
        tools: what must be at hand.
        cautions: shown before the first step.
        screening: lists of codes.
        entry: entry conditions.
        interlocks: entry conditions that must keep holding.
        identifier: where the routine identifier comes from; None without a routine.
        ways: steps.
        criteria: proof, measured.
        proof_in_words: what else shows that it worked, seen by a person or on the tester's report.
        unmeasured: measurements that the proof in words would need and that no standard signal or criterion gives.
        causes: of failure.
        sources: of single numbers, where they differ from the whole's.
        edges: order rules of its own.
        restore: how what its routines and outputs changed comes back, or that it cannot be undone.
        after_interruption: what to do.
        open_items: what stays open on the record until somebody has seen it.
        changes: keys of learned or coded items of its module that it means to change; other changes are unexplained.
    """

    id: Slug
    function: Slug
    name: Text
    revision: Annotated[int, msgspec.Meta(ge=1)]
    source: Source
    risk: Annotated[int, msgspec.Meta(ge=1, le=4)] = 1
    module: Slug = "engine"
    applies: Applies = Applies()
    triggers: tuple[Text, ...] = ()
    state: str = ""
    minutes: Minutes | None = None
    tools: tuple[Text, ...] = ()
    cautions: tuple[Text, ...] = ()
    screening: Screening = Screening()
    entry: tuple[Condition, ...] = ()
    interlocks: tuple[Interlock, ...] = ()
    identifier: RoutineIdentifier | None = None
    ways: Ways = Ways()
    criteria: tuple[Criterion, ...] = ()
    proof_in_words: str = ""
    unmeasured: tuple[Text, ...] = ()
    causes: tuple[Cause, ...] = ()
    edges: tuple[OrderEdge, ...] = ()
    restore: str = ""
    after_interruption: str = ""
    open_items: tuple[Text, ...] = ()
    changes: tuple[Slug, ...] = ()
    sources: tuple[NumberSource, ...] = ()

    def source_of(self, place: str) -> Source:
        """Source of the number at a place such as ``entry[3].low``: the nearest that is said."""
        found = [s for s in self.sources if place == s.at or place.startswith((f"{s.at}.", f"{s.at}["))]
        return max(found, key=lambda s: len(s.at)).source if found else self.source

    def condition(self, condition_id: str) -> Condition | None:
        """The entry condition with this id."""
        return next((c for c in self.entry if c.id == condition_id), None)

    @property
    def watched(self) -> tuple[tuple[Condition, Asks], ...]:
        """What must keep holding while it runs, and what a break asks for."""
        found = ((self.condition(lock.holds), lock.asks) for lock in self.interlocks)
        return tuple((condition, asks) for condition, asks in found if condition is not None)
