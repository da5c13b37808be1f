"""Jobs, work items, needs, screening and the plan."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .message import Message
from .module import PictureKind
from .trouble import TroubleCode
from .vin import Vin


class Vehicle(msgspec.Struct, frozen=True):
    """The car as a person describes it; the VIN as typed."""

    vin: Vin
    make: str = ""
    model: str = ""
    year: int | None = None
    displacement_l: float | None = None


class WorkItem(msgspec.Struct, frozen=True):
    """Something done to the car: an entry of the list, in its words."""

    id: str
    text: str


@unique
class Grade(StrEnum):
    """How much a function is needed."""

    REQUIRED = "required"
    ADVISABLE = "advisable"
    NOT_NEEDED = "not-needed"


class Need(msgspec.Struct, frozen=True):
    """A function called for, with its chain of reasons.

    Attributes:
        function: slug from the catalogue.
        name: words.
        grade: required, advisable, not needed.
        reasons: why, outermost first.
        procedure: id of the procedure that fits; empty when the book has none.
    """

    function: str
    name: str
    grade: Grade
    reasons: tuple[Message, ...]
    procedure: str = ""


@unique
class ScreenClass(StrEnum):
    """Class of a trouble code for one function. ``UNSORTED`` waits for a person."""

    BLOCK = "block"
    EXPECTED = "expected"
    UNRELATED = "unrelated"
    UNSORTED = "unsorted"


class ScreenedCode(msgspec.Struct, frozen=True):
    """One code sorted for one function."""

    code: TroubleCode
    function: str
    screen: ScreenClass
    seen_in: tuple[PictureKind, ...]
    reason: Message
    sorted_by: str = ""


class PlanStep(msgspec.Struct, frozen=True):
    """One place in the plan.

    Attributes:
        function: slug, or ``planned-clear``, ``key-cycles``, ``as-left``.
        name: words.
        state: car state it is done in (see plan.states).
        move_min, work_min: active minutes to get there and to do it.
        elapsed_min: calendar minutes of both.
        why: what put it at this place.
        procedure: id; empty when there is none and it stays open.
    """

    function: str
    name: str
    state: str
    move_min: float
    work_min: float
    elapsed_min: float
    why: Message
    procedure: str = ""


class Plan(msgspec.Struct, frozen=True):
    """The needs' procedures in the best order.

    Attributes:
        steps: in order.
        active_min, elapsed_min: totals.
        given_active_min: the same in the order as given, None when that order is impossible.
        proven: the order was shown to be best under the stated objective.
    """

    steps: tuple[PlanStep, ...]
    active_min: float
    elapsed_min: float
    given_active_min: float | None
    proven: bool
