"""The events of a job with their numbers at hand, so that every line of a report names where it comes from. Pure.

Example::

    record = Traced(events)
    for event, body in record.of(JobOpened): ...
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any, NamedTuple, TypeVar, cast

from asleft.event.body import (
    CriterionJudged,
    EffectAnswered,
    EffectSettled,
    IntentWritten,
    JobClosed,
    PictureTaken,
    RetestDeclared,
    RunEnded,
    RunStarted,
)
from asleft.event.envelope import Event, type_of
from asleft.event.fold import JobState, fold
from asleft.model.errors import Code, RecordError
from asleft.model.module import Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.verdict import Judgement
from asleft.proof.attempts import settled

T = TypeVar("T")
Numbers = tuple[int, ...]


Judged = dict[str, tuple[Numbers, Judgement]]


class Attempt(NamedTuple):
    """One measurement of a run: its number, the events from ``begin`` until before ``end``, who declared it and why."""

    number: int
    begin: int
    end: int
    retest: RetestDeclared | None

    def holds(self, sequence: int) -> bool:
        """Whether an event of the run belongs to it."""
        return self.begin <= sequence < self.end


class Traced:
    """Events in order, their state after the last one, and where each thing was said.

    Args: events: all events of one job from the first, in order.
    Raises: RecordError (record-damaged): none at all, another job's among them, or a gap in the numbers.
    """

    def __init__(self, events: Sequence[Event]) -> None:
        self.events = tuple(events)
        _check(self.events)
        self.state: JobState = fold(self.events)
        self._by_type: dict[type, list[Event]] = defaultdict(list)
        for event in self.events:
            self._by_type[type(event.body)].append(event)

    def of(self, kind: type[T], test: Callable[[T], bool] = lambda _: True) -> list[tuple[Event, T]]:
        """Events of one type whose body passes the test, in order."""
        return [(e, cast("T", e.body)) for e in self._by_type[kind] if test(cast("T", e.body))]

    def numbers(self, kind: type[T], test: Callable[[T], bool] = lambda _: True) -> Numbers:
        """Sequence numbers of those events."""
        return tuple(e.sequence for e, _ in self.of(kind, test))

    def last(self, kind: type[T], test: Callable[[T], bool] = lambda _: True) -> tuple[Numbers, T | None]:
        """The last of those events: its number and body; nothing when there is none."""
        found = self.of(kind, test)
        return ((found[-1][0].sequence,), found[-1][1]) if found else ((), None)

    def of_run(self, kind: type[T], run: str) -> list[tuple[Event, T]]:
        """Events of one type that belong to one run."""
        return self.of(kind, lambda body: cast("Any", body).run == run)

    def picture(self, kind: PictureKind) -> tuple[Numbers, Picture | None]:
        """One of the three pictures and its event."""
        numbers, body = self.last(PictureTaken, lambda p: p.picture.kind is kind)
        return numbers, body.picture if body else None

    @cached_property
    def runs(self) -> list[tuple[Event, RunStarted]]:
        """All runs, in the order they began: every attempt, not the best one."""
        return self.of(RunStarted)

    def attempts(self, run: str) -> list[Attempt]:
        """Measurements of one run: the first, and after each declared retest once more."""
        retests = self.of_run(RetestDeclared, run)
        begins = [0, *(event.sequence for event, _ in retests)]
        declared = [None, *(body for _, body in retests)]
        ends = [*begins[1:], self.events[-1].sequence + 1]
        return [Attempt(*each) for each in zip(range(1, len(begins) + 1), begins, ends, declared, strict=True)]

    def ended(self, run: str) -> tuple[Numbers, RunEnded | None]:
        """How a run ended; nothing while it goes on, also when a retest was declared after an earlier end."""
        begin = self.attempts(run)[-1].begin
        found = [(e, body) for e, body in self.of_run(RunEnded, run) if e.sequence > begin]
        return ((found[-1][0].sequence,), found[-1][1]) if found else ((), None)

    def judged(self, run: str) -> list[tuple[Numbers, Judgement]]:
        """Criteria of one run, each once with what counts of it.

        A criterion judged again stands with its last judgement; after a declared retest the rule of ``proof.attempts``
        decides, and what was not measured again is CANNOT TELL once the run has ended.
        """
        attempts = [self._within(run, attempt) for attempt in self.attempts(run)]
        if len(attempts) == 1 or self.ended(run)[1] is None:
            return list(attempts[-1].values())
        first, second = attempts[-2:]
        retest = self.attempts(run)[-1].retest
        said = ([j for _, j in attempt.values()] for attempt in (first, second))
        counted = settled(*(tuple(each) for each in said), changed=retest.changed if retest else "")
        return [(_numbers(j.criterion, first, second), j) for j in counted]

    def _within(self, run: str, attempt: Attempt) -> Judged:
        found: Judged = {}
        for event, body in self.of_run(CriterionJudged, run):
            if attempt.holds(event.sequence):
                before = found.pop(body.judgement.criterion, ((), body.judgement))[0]
                found[body.judgement.criterion] = ((*before, event.sequence), body.judgement)
        return found

    def effect_numbers(self, intent: str) -> Numbers:
        """Numbers of everything said about one intended effect."""
        return tuple(
            sorted(
                (
                    *self.numbers(IntentWritten, lambda b: b.intent.id == intent),
                    *self.numbers(EffectAnswered, lambda b: b.intent == intent),
                    *self.numbers(EffectSettled, lambda b: b.intent == intent),
                )
            )
        )

    @cached_property
    def origins(self) -> tuple[Origin, ...]:
        """Every origin that an event names, those that are no vehicle first."""
        order = (Origin.BENCH, Origin.REPLAY, Origin.VEHICLE)
        named = {e.origin for e in self.events}
        if self.state.opened:
            named.add(self.state.opened.origin)
        return tuple(o for o in order if o in named)

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many events of each type stand before the closing one (all, when it is not closed)."""
        counts: dict[str, int] = defaultdict(int)
        for event in self.events:
            if isinstance(event.body, JobClosed):
                break
            counts[type_of(event.body)] += 1
        return dict(sorted(counts.items()))


def _numbers(criterion: str, *attempts: Judged) -> Numbers:
    return tuple(n for attempt in attempts for n in attempt.get(criterion, ((), None))[0])


def _check(events: tuple[Event, ...]) -> None:
    if not events:
        raise RecordError(Code.RECORD_DAMAGED, "no events, so there is nothing to report")
    for place, event in enumerate(events, 1):
        if event.sequence != place:
            raise RecordError(Code.RECORD_DAMAGED, f"event {event.sequence} stands at place {place}")
        if event.job != events[0].job:
            raise RecordError(Code.RECORD_DAMAGED, f"event {place} belongs to job {event.job!r}, not {events[0].job!r}")
