"""The events of a job with their numbers at hand, so that every line of a report names where it comes from. Pure.

Example::

    record = Traced(events)
    for event, body in record.of(JobOpened): ...
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any, TypeVar, cast

from asleft.event.body import (
    CriterionJudged,
    EffectAnswered,
    EffectSettled,
    IntentWritten,
    JobClosed,
    PictureTaken,
    RunStarted,
)
from asleft.event.envelope import Event, type_of
from asleft.event.fold import JobState, fold
from asleft.model.errors import Code, RecordError
from asleft.model.module import Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.verdict import Judgement

T = TypeVar("T")
Numbers = tuple[int, ...]


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

    def judged(self, run: str) -> list[tuple[Numbers, Judgement]]:
        """Criteria of one run; a criterion judged again in the same run stands once, with its last judgement."""
        found: dict[str, tuple[Numbers, Judgement]] = {}
        for event, body in self.of_run(CriterionJudged, run):
            before = found.pop(body.judgement.criterion, ((), body.judgement))[0]
            found[body.judgement.criterion] = ((*before, event.sequence), body.judgement)
        return list(found.values())

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


def _check(events: tuple[Event, ...]) -> None:
    if not events:
        raise RecordError(Code.RECORD_DAMAGED, "no events, so there is nothing to report")
    for place, event in enumerate(events, 1):
        if event.sequence != place:
            raise RecordError(Code.RECORD_DAMAGED, f"event {event.sequence} stands at place {place}")
        if event.job != events[0].job:
            raise RecordError(Code.RECORD_DAMAGED, f"event {place} belongs to job {event.job!r}, not {events[0].job!r}")
