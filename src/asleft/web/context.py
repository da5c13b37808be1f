"""What templates are given: one frozen value a page, each of its names used by a template (tested)."""

from __future__ import annotations

from dataclasses import dataclass, field

from asleft.event.fold import JobState, RunState
from asleft.model.control import NOBODY, Holder, may_confirm
from asleft.model.message import Message
from asleft.model.module import Difference, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.question import Question
from asleft.model.verdict import Judgement

from .headings import PartView, capital, part_view
from .sight import Engine
from .stage import PARTS, in_hand, last_runs, not_passed, run_in_hand, step_in_hand

ORIGIN_WORDS = {
    Origin.VEHICLE: "vehicle",
    Origin.BENCH: "bench: simulated car",
    Origin.REPLAY: "replay of a recording",
}
_BUSY = {
    "received": "The picture as received is being taken.",
    "work": "The car is being looked at.",
    "found": "The picture as found is being taken.",
    "needs": "Needs and plan are being worked out.",
    "runs": "Working with the car.",
    "left": "The picture as left is being taken.",
    "record": "The proof is being judged and the record closed.",
}
#: Notes that must not be overlooked: they stand under the car's name as well.
_WARNINGS = ("vin.differs",)


@dataclass(frozen=True)
class Viewer:
    """Who looks, and how.

    Attributes:
        by: who answers questions. narrow: figures for a narrow screen.
        signed_in: the name is the signed-in one and cannot be changed. acts: may do something, not only read.
        device: what this device is called on the record.
    """

    by: str = ""
    narrow: bool = False
    signed_in: bool = False
    acts: bool = True
    device: str = ""


@dataclass(frozen=True)
class JobLine:
    """One car on the page of today."""

    number: str
    car: str
    vin: str
    origin: str
    stage: str
    waits: str
    state: str
    released: bool = False


@dataclass(frozen=True)
class TodayPage:
    """Context of the page of today."""

    token: str
    engine: Engine
    jobs: tuple[JobLine, ...]
    work_items: tuple[tuple[str, str], ...]
    error: str = ""
    filled: dict[str, str] = field(default_factory=dict[str, str])
    chosen: tuple[str, ...] = ()
    viewer: Viewer = field(default_factory=Viewer)

    @property
    def origin(self) -> str:
        """Origin of whatever the engine's link gives, in words."""
        return ORIGIN_WORDS[Origin(self.engine.origin)] if self.engine.origin else ""

    @property
    def fresh_form(self) -> bool:
        """Whether the form to open a job stands open."""
        return bool(self.error) or not self.jobs


@dataclass(frozen=True)
class SheetPage:
    """Context of the job sheet and of each of its parts."""

    token: str
    job: str
    engine: Engine
    state: JobState
    head_hash: str
    signed: bool
    viewer: Viewer
    error: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Parts in reading order."""
        return PARTS

    @property
    def running(self) -> bool:
        """Whether the engine works on this job now."""
        return self.engine.present and self.engine.job == self.job

    @property
    def by(self) -> str:
        """Who answers, unless somebody else says so."""
        return self.viewer.by or self.engine.technician

    @property
    def holder(self) -> Holder | None:
        """Who has control of the car; nobody until the first confirmation."""
        return self.state.holder if self.state.holder != NOBODY else None

    @property
    def in_control(self) -> bool:
        """Whether this person on this device may confirm effects."""
        return may_confirm(self.state.holder, Holder(self.by, self.viewer.device))

    @property
    def question(self) -> Question | None:
        """The question that is open now; none when nobody waits for the answer."""
        return self.state.waiting_for if self.running and self.state.closed is None else None

    @property
    def busy(self) -> str:
        """What is being done while nothing is asked."""
        return capital(step_in_hand(self.state)) or _BUSY.get(in_hand(self.state), "")

    @property
    def now(self) -> PartView | None:
        """The part in hand."""
        name = in_hand(self.state)
        return part_view(self.state, name) if name else None

    @property
    def run_now(self) -> str:
        """Id of the run in hand, or empty."""
        return run_in_hand(self.state) if self.running else ""

    @property
    def stopped(self) -> str:
        """Why the job stopped, while it is not taken up again."""
        return self.state.stopped.message.text if self.state.stopped and not self.running else ""

    @property
    def verdicts(self) -> tuple[RunState, ...]:
        """The last run of each function that has a verdict."""
        return tuple(r for r in last_runs(self.state) if r.verdict is not None)

    @property
    def not_passed(self) -> tuple[Judgement, ...]:
        """Criteria that failed or could not be told."""
        return not_passed(self.state)

    @property
    def warnings(self) -> tuple[Message, ...]:
        """Notes that must not be overlooked."""
        return tuple(m for m in self.state.notes if m.id in _WARNINGS)

    @property
    def origin(self) -> str:
        """Origin in words."""
        return ORIGIN_WORDS[self.state.origin]

    @property
    def received(self) -> Picture | None:
        """Picture as received, if taken."""
        return self.state.pictures.get(PictureKind.AS_RECEIVED)

    @property
    def found(self) -> Picture | None:
        """Picture as found, if taken."""
        return self.state.pictures.get(PictureKind.AS_FOUND)

    @property
    def left(self) -> Picture | None:
        """Picture as left, if taken."""
        return self.state.pictures.get(PictureKind.AS_LEFT)

    @property
    def done(self) -> frozenset[str]:
        """Places of the plan that are done."""
        ended = {r.started.function for r in last_runs(self.state) if r.end is not None and r.end.value == "completed"}
        judged = {r.started.function for r in last_runs(self.state) if r.judgements and r.end is None}
        left = {"as-left"} if self.left else set[str]()
        return frozenset(ended | judged | left)

    def view(self, name: str) -> PartView:
        """Heading of a part."""
        return part_view(self.state, name)

    def differences(self, before: str, after: str) -> tuple[Difference, ...] | None:
        """Differences between two pictures; None when not compared."""
        return self.state.differences.get((PictureKind(before), PictureKind(after)))
