"""The closed union of events: what can happen to a job. Nothing else holds a job's state.

Each class is one version of one event; its tag ``name@version`` is stored. An old version is read through an upcast
(``older``), never rewritten. New types are added at the end; the fields of a type that was ever written never change:
what must change becomes a new version.
"""

from __future__ import annotations

import msgspec

from asleft.model.condition import Condition, ConditionResult
from asleft.model.control import ControlHow
from asleft.model.effect import Intent, Settlement
from asleft.model.fact import Fact
from asleft.model.message import Message
from asleft.model.module import Difference, Item, ModulePicture, ModuleState, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.question import Answer, Question
from asleft.model.reading import Evidence, Hex, Series
from asleft.model.timed import ActTimed
from asleft.model.trouble import TroubleCode
from asleft.model.verdict import Judgement, RunEnd, StepOutcome, Verdict
from asleft.model.work import Need, Plan, ScreenedCode, Vehicle, WorkItem


class JobOpened(msgspec.Struct, frozen=True, tag="job-opened@1"):
    """A car came in. ``origin`` is what the link says of itself."""

    workshop: str
    vehicle: Vehicle
    work_items: tuple[WorkItem, ...]
    origin: Origin
    link: str
    program: str
    order: str = ""


class PictureTaken(msgspec.Struct, frozen=True, tag="picture-taken@1"):
    """One of the three pictures, or why it was not taken."""

    picture: Picture


class CodesScreened(msgspec.Struct, frozen=True, tag="codes-screened@1"):
    """Codes sorted for one function; a later one for the same function replaces it."""

    function: str
    codes: tuple[ScreenedCode, ...]


class NeedsFound(msgspec.Struct, frozen=True, tag="needs-found@1"):
    """What the work calls for, and why."""

    needs: tuple[Need, ...]


class PlanMade(msgspec.Struct, frozen=True, tag="plan-made@1"):
    """The order."""

    plan: Plan


class RunStarted(msgspec.Struct, frozen=True, tag="run-started@1"):
    """A procedure began. ``text`` is the procedure's file as it ran, ``digest`` its SHA-256."""

    run: str
    function: str
    procedure: str
    name: str
    way: str
    text: str
    digest: str
    conditions: tuple[Condition, ...] = ()


class IdentifierChosen(msgspec.Struct, frozen=True, tag="identifier-chosen@1"):
    """Which routine identifier is used: typed from the manual or chosen by an exact match."""

    run: str
    identifier: int
    how: str
    printed: str
    payload: Hex
    row: Message


class QuestionAsked(msgspec.Struct, frozen=True, tag="question-asked@1"):
    """The person at the car was asked."""

    run: str
    question: Question


class QuestionAnswered(msgspec.Struct, frozen=True, tag="question-answered@1"):
    """The person at the car answered."""

    run: str
    answer: Answer


class ConditionsSeen(msgspec.Struct, frozen=True, tag="conditions-seen@1"):
    """How the entry conditions or interlocks stood. ``gate``: open, closed, or watched (interlock)."""

    run: str
    results: tuple[ConditionResult, ...]
    gate: str


class ConditionWaived(msgspec.Struct, frozen=True, tag="condition-waived@1"):
    """A named person let a waivable condition be, with a reason."""

    run: str
    condition: str
    by: str
    reason: str


class StepStarted(msgspec.Struct, frozen=True, tag="step-started@1"):
    """A step began."""

    run: str
    step: str
    message: Message


class StepStopped(msgspec.Struct, frozen=True, tag="step-stopped@1"):
    """A step ended; a skipped one has no duration."""

    run: str
    step: str
    outcome: StepOutcome
    duration_s: float
    message: Message


class IntentWritten(msgspec.Struct, frozen=True, tag="intent-written@1"):
    """What is about to be sent. Without it nothing is."""

    intent: Intent


class EffectAnswered(msgspec.Struct, frozen=True, tag="effect-answered@1"):
    """What the module answered to an effect, or that nothing was heard."""

    intent: str
    answer: Hex
    refusal: int | None
    message: Message


class EffectSettled(msgspec.Struct, frozen=True, tag="effect-settled@1"):
    """What was found out about an effect."""

    intent: str
    settlement: Settlement
    message: Message


class ModuleTold(msgspec.Struct, frozen=True, tag="module-told@1"):
    """What a module does, in our four words."""

    run: str
    module: str
    state: ModuleState
    message: Message


class SamplesTaken(msgspec.Struct, frozen=True, tag="samples-taken@1"):
    """Raw readings kept, so that every judged number can be computed again."""

    run: str
    name: str
    series: tuple[Series, ...]


class CriterionJudged(msgspec.Struct, frozen=True, tag="criterion-judged@1"):
    """One criterion of the proof."""

    run: str
    judgement: Judgement


class RunEnded(msgspec.Struct, frozen=True, tag="run-ended@1"):
    """A procedure ended: how, and the verdict of its proof as a whole; None where it asks for no proof (a clear)."""

    run: str
    end: RunEnd
    verdict: Verdict | None
    message: Message


class CodesCleared(msgspec.Struct, frozen=True, tag="codes-cleared@1"):
    """A clear that happened: which modules, what it removed, what stayed."""

    run: str
    modules: tuple[str, ...]
    removed: tuple[TroubleCode, ...]
    remaining: tuple[TroubleCode, ...]
    reason: str


class DifferencesFound(msgspec.Struct, frozen=True, tag="differences-found@1"):
    """What differs between two pictures."""

    before: PictureKind
    after: PictureKind
    differences: tuple[Difference, ...]


class ItemLeftOpen(msgspec.Struct, frozen=True, tag="item-left-open@1"):
    """Something that stays open on the record until somebody closes it."""

    item: str
    message: Message


class FactStated(msgspec.Struct, frozen=True, tag="fact-stated@1"):
    """A fact that no module tells. A later one with the same key adds to it; nothing is taken back."""

    fact: Fact


class Noted(msgspec.Struct, frozen=True, tag="noted@1"):
    """A remark of the program or a person: a refused attempt, a warning, a limit of what was seen."""

    message: Message


class JobStopped(msgspec.Struct, frozen=True, tag="job-stopped@1"):
    """Work on the job stopped before its end (a person, a lost link, a closed program); it can go on later."""

    reason: str
    message: Message


class JobClosed(msgspec.Struct, frozen=True, tag="job-closed@2"):
    """The last event: statement, who signed, and what stands before it, so that a cut shows.

    Attributes:
        counts: how many events of each type, by stored type.
        streams: samples in ``samples-taken`` events by stream (see ``streams.stream_name``); None: not counted, in
            records closed before format v1, and until the journal fills it in.
        parts: the same for ``samples-part`` events.
    """

    statement: Message
    performed_by: str
    released: bool
    counts: dict[str, int] = {}
    streams: dict[str, int] | None = None
    parts: dict[str, int] | None = None


class Corrected(msgspec.Struct, frozen=True, tag="corrected@1"):
    """What should stand in place of an earlier event, which stays as it is. It may follow the closing event.

    Attributes:
        event, hash: sequence and hash of the event that is corrected.
        message: what is right.
        by, reason: who says so, and why.
    """

    event: int
    hash: str
    message: Message
    by: str
    reason: str


class ClockNoted(msgspec.Struct, frozen=True, tag="clock-noted@1"):
    """What is known of the wall clock from here on.

    Attributes:
        source: where it is read from.
        zone: local zone and its distance from UTC; the record itself is in UTC.
        jump_s: by how much it jumped against the monotonic clock since the event before, s; None: first look.
    """

    source: str
    zone: str
    jump_s: float | None = None


class SamplesPart(msgspec.Struct, frozen=True, tag="samples-part@1"):
    """Raw readings kept while a recording still runs, so that a crash does not lose them.

    ``samples-taken`` with the same run and name ends the recording and holds all of it.

    Attributes:
        part: 1, 2, 3 … within the recording.
        series: samples since the part before; their gaps are counted at the end of the recording only.
    """

    run: str
    name: str
    part: int
    series: tuple[Series, ...]


class ControlMoved(msgspec.Struct, frozen=True, tag="control-moved@1"):
    """Who may confirm effects on this car from now on, and on which device; see ``model.control``.

    Attributes:
        by, device: who has it now; both empty: nobody, it was given up.
        how: taken, handed over, taken over, given up.
        before_by, before_device: who had it; both empty: nobody.
        reason: of a taking over from somebody who did not hand it over.
    """

    by: str
    device: str
    how: ControlHow
    before_by: str = ""
    before_device: str = ""
    reason: str = ""


class ModulePictureTaken(msgspec.Struct, frozen=True, tag="module-picture-taken@1"):
    """What the run's module said of itself before and after it; the same for all three ways.

    Attributes: when: ``before`` or ``after``.
    """

    run: str
    step: str
    when: str
    picture: ModulePicture


class SequenceTimed(msgspec.Struct, frozen=True, tag="sequence-timed@1"):
    """One attempt at a sequence by hand.

    Attributes:
        attempt: 1, 2, 3 …
        acts: those that a signal showed, in order.
        verdict: of the rhythm alone; what follows from it is judged by the proof.
        message: in time, or which step and by how much.
        sample_s: longest time between two samples, s.
    """

    run: str
    step: str
    attempt: int
    acts: tuple[ActTimed, ...]
    verdict: Verdict
    message: Message
    sample_s: float


class PersonMarked(msgspec.Struct, frozen=True, tag="person-marked@1"):
    """A person marked a moment on the other tester: its ``start`` or ``end``, with what it said."""

    run: str
    step: str
    mark: str
    said: str
    by: str


class NotWatched(msgspec.Struct, frozen=True, tag="not-watched@1"):
    """From ``begin_s`` to ``end_s`` on the job's clock nothing was asked of the car, and why."""

    run: str
    step: str
    begin_s: float
    end_s: float
    message: Message


class DocumentAttached(msgspec.Struct, frozen=True, tag="document-attached@1"):
    """A document that belongs to a run, by its content: the other tester's report, a photo.

    Attributes: sha256: of its bytes, hex. size: bytes. by: who attached it.
    """

    run: str
    step: str
    name: str
    sha256: str
    size: int
    by: str


class CausesNamed(msgspec.Struct, frozen=True, tag="causes-named@1"):
    """What the procedure lists as causes for what was seen, likeliest first."""

    run: str
    seen: str
    causes: tuple[str, ...]


class RunProgress(msgspec.Struct, frozen=True, tag="run-progress@1"):
    """A run changed its state; ``state`` and ``cause`` are words of ``run.states``."""

    run: str
    state: str
    cause: str


class RetestDeclared(msgspec.Struct, frozen=True, tag="retest-declared@1"):
    """A person declares, before anything is recorded again, that this run's measurements are taken once more.

    What was recorded and judged so far stays as the first attempt; see ``proof.attempts``.

    Attributes:
        attempt: number of the attempt that begins, 2.
        by, reason: who, and why once more.
        changed: what was changed in between, in words; empty: nothing.
    """

    run: str
    attempt: int
    by: str
    reason: str
    changed: str = ""


class PictureExtended(msgspec.Struct, frozen=True, tag="picture-extended@1"):
    """What a person adds to a picture: a value read off another screen or a gauge, or a paper or photo that shows it.

    Attributes:
        item: what it is and its value; of a document its file name.
        module: name of the control module it belongs to; empty: the car.
        evidence: observed (read off) or from a document. source: instrument or paper, in words.
        sha256, size: of a document's bytes; empty and 0 without one.
    """

    picture: PictureKind
    item: Item
    module: str
    evidence: Evidence
    source: str
    by: str
    sha256: str = ""
    size: int = 0


class OrderChosen(msgspec.Struct, frozen=True, tag="order-chosen@1"):
    """A person chose another order for what the plan still asks for; the job goes on in it.

    Attributes:
        by, reason: who, and why.
        plan: the plan in this order, with its minutes.
        broken: rules that cost rework and that the order breaks knowingly; one that forbids an order never stands here.
        active_min, elapsed_min: more than the best order, min.
    """

    by: str
    reason: str
    plan: Plan
    broken: tuple[Message, ...]
    active_min: float
    elapsed_min: float


Body = (
    JobOpened
    | PictureTaken
    | CodesScreened
    | NeedsFound
    | PlanMade
    | RunStarted
    | IdentifierChosen
    | QuestionAsked
    | QuestionAnswered
    | ConditionsSeen
    | ConditionWaived
    | StepStarted
    | StepStopped
    | IntentWritten
    | EffectAnswered
    | EffectSettled
    | ModuleTold
    | SamplesTaken
    | CriterionJudged
    | RunEnded
    | CodesCleared
    | DifferencesFound
    | ItemLeftOpen
    | FactStated
    | Noted
    | JobStopped
    | JobClosed
    | Corrected
    | ClockNoted
    | SamplesPart
    | ControlMoved
    | ModulePictureTaken
    | SequenceTimed
    | PersonMarked
    | NotWatched
    | DocumentAttached
    | CausesNamed
    | RunProgress
    | RetestDeclared
    | PictureExtended
    | OrderChosen
)
