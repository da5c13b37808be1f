"""A sequence by hand, recognised from what standard signals show. Pure: fed with samples, it has no clock.

Every sample says when it was asked for and when its answer came; in between the module took it. So an act lies between
the last sample that did not show it and the first that did, and everything here works with such intervals::

    watch = SequenceWatch(step.marks)
    watch.sample("accelerator-pedal-d", 12.30, 12.34, 81.2)
    if watch.miss: ...          # stop at once: which act, what was wrong, by how much

A miss is only said where the whole interval lies outside; what cannot be told apart is *cannot tell*, never passed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum, unique

import msgspec

from asleft.model.message import Message, say
from asleft.model.step_more import Edge, Mark
from asleft.model.verdict import Verdict

#: Timing uncertainty above this share of a mark's window: cannot tell. Common practice, no source.
MOST_SHARE = 0.25
#: So many answers must be missing in a row before a module counts as silent; one lost answer is no key.
SILENT_AFTER = 2
#: A contact or a foot that bounces for less than this, s, has acted once.
BOUNCE_S = 0.15


@unique
class MissKind(StrEnum):
    """What can be wrong with an act."""

    EARLY = "early"
    LATE = "late"
    SHORT = "short"
    PARTIAL = "partial"
    EXTRA = "extra"
    BOUNCED = "bounced"


class Span(msgspec.Struct, frozen=True):
    """Between these two moments, s."""

    low: float
    high: float

    def minus(self, other: Span) -> Span:
        """Difference of two moments that are known as far."""
        return Span(self.low - other.high, self.high - other.low)

    @property
    def middle(self) -> float:
        """Best estimate, s."""
        return 0.5 * (self.low + self.high)

    @property
    def half(self) -> float:
        """By how much it may be off, s."""
        return 0.5 * (self.high - self.low)


class Heard(msgspec.Struct, frozen=True):
    """An act that a signal showed.

    Attributes:
        mark: its number. at_s: when after the first mark, s. u_s: half-width, s. off_s: from its time, s; late is
            positive. sure: it counts beyond doubt.
    """

    mark: int
    at_s: float
    u_s: float
    off_s: float
    sure: bool


class Miss(msgspec.Struct, frozen=True):
    """The first act that went wrong. ``by_s`` s too early, too late or too short; ``u_s`` half-width, s."""

    mark: int
    kind: MissKind
    by_s: float
    u_s: float
    message: Message


class SequenceWatch:
    """Follows one attempt.

    Args: marks: of the sequence; those without a signal are left to the person and not looked for.

    Attributes:
        miss: the first miss; after it nothing more is taken in.
        heard: acts so far.
        begun: when the first mark was, as a span on the caller's clock; None: not yet.
    """

    def __init__(self, marks: Sequence[Mark]) -> None:
        self._marks = tuple(marks)
        self._order = [n for n, mark in enumerate(self._marks) if mark.signal and mark.edge is not None]
        self._next = 0
        self._spans: dict[int, Span] = {}
        self._lines: dict[str, _Line] = {m.signal: _Line(m.signal, self._marks) for m in self._marks if m.signal}
        self.miss: Miss | None = None
        self.heard: list[Heard] = []
        self.begun: Span | None = None

    @property
    def expected(self) -> Mark | None:
        """The next act that a signal will show; None when all have been."""
        return self._marks[self._order[self._next]] if self._next < len(self._order) else None

    @property
    def done(self) -> bool:
        """Nothing is expected any more, or it was missed."""
        return self.miss is not None or self.expected is None

    @property
    def signals(self) -> tuple[str, ...]:
        """What to ask for now: what shows the next act, and what would show a wrong one."""
        mark = self.expected
        return () if mark is None else (mark.signal,)

    @property
    def verdict(self) -> Verdict:
        """PASS: every act that can be seen was in time beyond doubt. Of the rhythm only; consequences decide."""
        if self.miss is not None:
            return Verdict.FAIL
        if self.expected is not None or not self.heard or not all(h.sure for h in self.heard):
            return Verdict.CANNOT_TELL
        return Verdict.PASS

    def sample(self, signal: str, asked_s: float, answered_s: float, value: float | None) -> None:
        """Take one sample in: asked at, answered (or given up) at, on the caller's clock, s.

        Args: value: None: no answer; not a number: the module answered, with something else than this signal.
        """
        line = self._lines.get(signal)
        if line is None or self.done:
            return
        for edge, span, reached in line.take(Span(asked_s, answered_s), value):
            if not self.done:
                self._edge(signal, edge, span, reached)
        if not self.done:
            self._overdue(line)

    def give_up(self, waited_s: float) -> None:
        """No more samples come: what is still expected was missed. Args: waited_s: beyond its time, s."""
        if not self.done:
            self._missed(self._order[self._next], MissKind.LATE, waited_s, 0.0, open_end=True)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _edge(self, signal: str, edge: Edge | None, span: Span, reached: float) -> None:
        mark = self.expected
        assert mark is not None
        number = self._order[self._next]
        if edge is None:
            if mark.signal == signal and mark.edge is Edge.RISES:
                self._missed(number, MissKind.PARTIAL, 0.0, 0.0, reached=reached)
            return
        if mark.signal == signal and mark.edge is edge:
            self._judge(number, mark, Span(span.low - mark.lag_s, span.high))
        elif edge is Edge.RISES:
            self._missed(number, MissKind.EXTRA, 0.0, span.half)
        elif edge is Edge.SILENT and self._hidden(signal, span):
            self._edge(signal, edge, span, reached)
        elif edge is Edge.SILENT:
            self._missed(number, MissKind.BOUNCED, 0.0, span.half)
        elif edge is Edge.FALLS and mark.signal == signal:
            self._missed(number, MissKind.SHORT, 0.0, span.half)

    def _hidden(self, signal: str, span: Span) -> bool:
        """Whether the expected act may lie between the last sample and the key that went off: then it is not sure."""
        after = self._order[self._next + 1 :][:1]
        mark = self.expected
        if mark is None or mark.signal != signal or not after or self._marks[after[0]].edge is not Edge.SILENT:
            return False
        self._judge(self._order[self._next], mark, span)
        if self.miss is not None:
            self.miss = None  # too early for it: the key went off in the middle
            return False
        self.heard[-1] = msgspec.structs.replace(self.heard[-1], sure=False)
        return True

    def _judge(self, number: int, mark: Mark, span: Span) -> None:
        """Whether an act was in its time, and in its time since the one before."""
        self._spans[number] = span
        if self.begun is None:
            self.begun = span
            self._take(Heard(number, 0.0, span.half, 0.0, sure=True))
            return
        at = span.minus(self.begun)
        sure = at.half <= MOST_SHARE * (mark.early_s + mark.late_s)
        before = self._spans.get(self._order[self._next - 1])
        gap = span.minus(before) if before is not None else None
        if gap is not None and mark.gap_low_s is not None:
            if gap.high < mark.gap_low_s:
                self._missed(number, MissKind.SHORT, mark.gap_low_s - gap.middle, gap.half)
                return
            sure = sure and gap.low >= mark.gap_low_s
        if gap is not None and mark.gap_high_s is not None:
            if gap.low > mark.gap_high_s:
                self._missed(number, MissKind.LATE, gap.middle - mark.gap_high_s, gap.half)
                return
            sure = sure and gap.high <= mark.gap_high_s
        early, late = mark.at_s - mark.early_s, mark.at_s + mark.late_s
        if at.high < early:
            self._missed(number, MissKind.EARLY, early - at.middle, at.half)
        elif at.low > late:
            self._missed(number, MissKind.LATE, at.middle - late, at.half)
        else:
            inside = at.low >= early and at.high <= late
            self._take(Heard(number, at.middle, at.half, at.middle - mark.at_s, sure=sure and inside))

    def _take(self, heard: Heard) -> None:
        self.heard.append(heard)
        self._next += 1

    def _overdue(self, line: _Line) -> None:
        """The expected act can no longer be in time: stop at once, do not wait for it."""
        mark = self.expected
        if mark is None or self.begun is None or mark.signal != line.signal:
            return
        at_least = line.not_yet(mark.edge) - mark.lag_s - self.begun.high
        late = at_least - (mark.at_s + mark.late_s)
        before = self._spans.get(self._order[self._next - 1])
        if mark.gap_high_s is not None and before is not None:
            late = max(late, line.not_yet(mark.edge) - mark.lag_s - before.high - mark.gap_high_s)
        if late > 0.0:
            reached = line.highest if mark.edge is Edge.RISES else 0.0
            kind = MissKind.PARTIAL if line.half_way and mark.edge is Edge.RISES else MissKind.LATE
            self._missed(self._order[self._next], kind, late, 0.0, reached=reached, open_end=True)

    def _missed(
        self, number: int, kind: MissKind, by_s: float, u_s: float, *, reached: float = 0.0, open_end: bool = False
    ) -> None:
        mark = self._marks[number]
        values = {"act": mark.act, "n": str(number + 1), "by": f"{by_s:.1f}", "reached": f"{reached:.0f}"}
        values["level"] = "" if mark.level is None else f"{mark.level:g}"
        template = _WORDS[kind] if not (open_end and kind is MissKind.LATE) else _NOT_SEEN
        self.miss = Miss(number, kind, by_s, u_s, say(f"sequence.{kind.value}", template, **values))


_NOT_SEEN = "step {n}, {act}: not seen, already {by} s late"
_WORDS = {
    MissKind.EARLY: "step {n}, {act}: {by} s too early",
    MissKind.LATE: "step {n}, {act}: {by} s too late",
    MissKind.SHORT: "step {n}, {act}: {by} s too soon after the step before",
    MissKind.PARTIAL: "step {n}, {act}: not far enough, {reached} of {level}",
    MissKind.EXTRA: "before step {n}, {act}: one press more than the sequence has",
    MissKind.BOUNCED: "before step {n}, {act}: the module fell silent, as if the key had gone off",
}


class _Line:
    """One signal: its level with hysteresis, and whether its module answers."""

    def __init__(self, signal: str, marks: Sequence[Mark]) -> None:
        levels = [m.level for m in marks if m.signal == signal and m.level is not None]
        backs = [m.back for m in marks if m.signal == signal and m.back is not None]
        self.signal = signal
        self.level = max(levels, default=math.inf)
        self.back = min(backs, default=-math.inf)
        self.highest = -math.inf
        self._missing: list[Span] = []
        self._last_answer: Span | None = None
        self._answers: bool | None = None
        self._high = False
        self._above: Span | None = None
        self._below: Span | None = None
        self._turned_s = -math.inf

    @property
    def half_way(self) -> bool:
        """Pressed, and not far enough."""
        return not self._high and self.back < self.highest < self.level

    def not_yet(self, edge: Edge | None) -> float:
        """Latest moment, s, at which the act is known not to have shown."""
        match edge:
            case Edge.RISES:
                last = self._below
            case Edge.FALLS:
                last = self._above
            case Edge.SILENT:
                last = self._last_answer
            case _:
                last = self._missing[-1] if self._missing else None
        return last.low if last is not None else -math.inf

    def take(self, when: Span, value: float | None) -> list[tuple[Edge | None, Span, float]]:
        """Edges that this sample shows, oldest first: (edge, between when, highest value). Edge None: half a press."""
        if value is None:
            return self._no_answer(when)
        found: list[tuple[Edge | None, Span, float]] = []
        if self._answers is False:
            found.append((Edge.ANSWERS, Span(self._missing[-1].low, when.high), value))
        self._answers, self._missing, self._last_answer = True, [], when
        return found if math.isnan(value) else [*found, *self._levels(when, value)]

    def _no_answer(self, when: Span) -> list[tuple[Edge | None, Span, float]]:
        self._missing.append(when)
        if self._answers is None:
            self._answers = False
        if self._answers and len(self._missing) >= SILENT_AFTER:
            self._answers = False
            self._high, self._above, self._below, self.highest = False, None, None, -math.inf
            begin = self._last_answer.low if self._last_answer is not None else -math.inf
            return [(Edge.SILENT, Span(begin, self._missing[0].high), 0.0)]
        return []

    def _levels(self, when: Span, value: float) -> list[tuple[Edge | None, Span, float]]:
        self.highest = max(self.highest, value)
        bounces = when.high - self._turned_s < BOUNCE_S
        if not self._high:
            if value >= self.level and bounces:
                return []
            if value >= self.level:
                self._turned_s = when.high
                begin = self._below.low if self._below is not None else -math.inf
                self._high, self._above = True, when
                return [(Edge.RISES, Span(begin, when.high), value)]
            self._below = when
            if value <= self.back:
                reached, self.highest = self.highest, value
                return [(None, when, reached)] if reached > self.back else []
            return []
        if value <= self.back and bounces:
            return []
        if value <= self.back:
            self._turned_s = when.high
            begin = self._above.low if self._above is not None else -math.inf
            self._high, self._below, self.highest = False, when, value
            return [(Edge.FALLS, Span(begin, when.high), value)]
        self._above = when
        return []
