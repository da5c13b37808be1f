"""A sequence by hand: rehearsed, counted in, watched through standard OBD in the default session, stopped at a miss.

What is seen are the acts as the bus shows them; what follows from them is judged by the procedure's proof. While the
sequence runs only what shows the next act is asked for, as fast as the link gives it, and no session is kept open: an
open one may itself keep the module from listening (common practice, no source).
"""

from __future__ import annotations

import math

from asleft.event import body as b
from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Reading, Series
from asleft.model.step_more import Edge, TimedSequence
from asleft.model.timed import ActTimed
from asleft.model.verdict import Verdict
from asleft.ports.signals import QuickSignals
from asleft.proof.sequence import SequenceWatch

from .asking import STOP, ask, ask_choice
from .context import RunContext
from .cues import COUNT_IN, cues, length_s
from .routine import EMERGENCY

BEGIN, REHEARSE, AGAIN = "begin", "rehearse without the car", "again from the top"
#: How long the first act may be late before the attempt ends, s, and how long the start state may take to show.
FIRST_S, READY_S = 10.0, 60.0
#: Least time between two samples, s: gentle on the car, and far quicker than a hand.
LEAST_S = 0.05
#: A module that does not answer within this counts as silent for one sample, s (P2 50 ms of ISO 15765-4, with margin).
SILENCE_S = 0.2
#: What a silent module is asked for in turn: one's late answer is never taken for the next one's.
KNOCK = (
    "engine-speed",
    "vehicle-speed",
    "coolant-temperature",
    "throttle-absolute",
    "control-module-voltage",
    "intake-air-temperature",
    "engine-load",
)


async def timed_sequence(run: RunContext, step: TimedSequence) -> None:
    """Coach the sequence until it was done in time, or was missed too often.

    Raises: RunError: sequence-missed after ``attempts``, with the step and by how much; stopped-by-person.
    """
    with run.log.step(step.id, say("step.sequence", "{text}", text=step.text)) as end:
        why = say("sequence.none", "no attempt")
        for attempt in range(1, step.attempts + 1):
            watch = await _attempt(run, step, attempt)
            if watch.miss is None:
                end.message = _outcome(watch)
                return
            why = watch.miss.message
            if attempt < step.attempts:
                text = "{why}. Stop now, do not go on with it. {what}"
                message = say("sequence.again", text, why=why.text, what=step.on_miss or "Begin again from the top.")
                await ask_choice(run.log, message, (AGAIN, STOP), act=step.prepare_act)
        raise RunError(Code.SEQUENCE_MISSED, f"{step.attempts} attempts; the last: {why.text}", step.id)


async def _attempt(run: RunContext, step: TimedSequence, attempt: int) -> SequenceWatch:
    log = run.log
    await run.ports.conversation.close_sessions()
    if step.prepare:
        message = say("sequence.prepare", "{text}", text=step.prepare)
        await ask(log, Question(log.number("q"), QuestionKind.ACT, message, ("done", STOP), act=step.prepare_act))
        await _start_state(run, step)
    await _consent(run, step)
    shown = [c for c in cues(step) if c.at_s >= -COUNT_IN]
    run.ports.show("sequence", {"run": log.run, "step": step.id, "cues": shown, "count_in_s": COUNT_IN})
    zero_s = run.ports.clock.now() + COUNT_IN
    watch = SequenceWatch(step.marks)
    watcher = _Watcher(run, step, watch, zero_s)
    await watcher.follow()
    log.samples(f"{step.save}/{attempt}", watcher.series()) if step.save else None
    acts = tuple(ActTimed(step.marks[h.mark].act, h.at_s, h.u_s, h.off_s) for h in watch.heard)
    body = b.SequenceTimed(log.run, step.id, attempt, acts, watch.verdict, _outcome(watch), round(watcher.worst_s, 4))
    log.write(body)
    run.ports.show("sequence", {"run": log.run, "step": step.id, "ended": _outcome(watch).text})
    return watch


async def _consent(run: RunContext, step: TimedSequence) -> None:
    """Begin, or rehearse first as often as wanted: the same cues, and nothing is asked of the car."""
    log = run.log
    while True:
        text = "{text} Three beats are counted in; the first act comes on the beat after them. Listen, do not read."
        question = Question(
            log.number("q"),
            QuestionKind.ACT,
            say("sequence.begin", text, text=step.text),
            (BEGIN, REHEARSE, STOP),
            act=step.act,
            details=(EMERGENCY,),
        )
        if (await ask(log, question)).text == BEGIN:
            return
        shown = {"run": log.run, "step": step.id, "cues": cues(step), "count_in_s": COUNT_IN, "rehearsal": True}
        run.ports.show("sequence", shown)
        await run.ports.clock.sleep_until(run.ports.clock.now() + COUNT_IN + length_s(step))


async def _start_state(run: RunContext, step: TimedSequence) -> None:
    """Where the first act is the key: the module must be silent before. Raises RunError (waited-in-vain)."""
    first = next((m for m in step.marks if m.signal), None)
    if first is None or first.edge is not Edge.ANSWERS:
        return
    clock, silent = run.ports.clock, 0
    until = clock.now() + READY_S
    while silent < 2:
        if run.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        if clock.now() >= until:
            raise RunError(Code.WAITED_IN_VAIN, f"the module still answers: {step.prepare}", step.id)
        (reading,) = await run.ports.signals.read((first.signal,))
        silent = silent + 1 if reading.value is None else 0
        await clock.sleep_until(clock.now() + 0.3)


async def _quick(run: RunContext, signals: tuple[str, ...]) -> tuple[Reading, ...]:
    """Readings, with silence known soon where the source can."""
    source = run.ports.signals
    if isinstance(source, QuickSignals):
        return await source.read_within(signals, SILENCE_S)
    return await source.read(signals)


def _outcome(watch: SequenceWatch) -> Message:
    if watch.miss is not None:
        return watch.miss.message
    worst = max((abs(h.off_s) for h in watch.heard), default=0.0)
    if watch.verdict is Verdict.PASS:
        return say("sequence.in-time", "in time; farthest off {off} s; the proof decides", off=f"{worst:.1f}")
    if not watch.heard:
        return say("sequence.unseen", "no signal shows it; declared")
    doubtful = sum(not h.sure for h in watch.heard)
    text = "CANNOT TELL whether {n} act(s) were in time: the samples are too far apart, or too near a limit"
    return say("sequence.cannot-tell", text, n=doubtful)


class _Watcher:
    """Samples what shows the next act until all were seen, one was missed, or the time is over."""

    def __init__(self, run: RunContext, step: TimedSequence, watch: SequenceWatch, zero_s: float) -> None:
        self._run = run
        self._step = step
        self._watch = watch
        self._zero_s = zero_s
        self._kept: dict[str, list[tuple[float, float]]] = {}
        self._units: dict[str, str] = {}
        self._knocks = 0
        self.worst_s = 0.0

    async def follow(self) -> None:
        """Raises RunError (stopped-by-person)."""
        clock = self._run.ports.clock
        last_s: float | None = None
        while not self._watch.done and not self._over():
            if self._run.ports.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON)
            asked_s = clock.now()
            if last_s is not None and self._watch.begun is not None:
                self.worst_s = max(self.worst_s, asked_s - last_s)
            last_s = asked_s
            await self._take(self._watch.signals, asked_s)
            await clock.sleep_until(asked_s + LEAST_S)
        self._watch.give_up(FIRST_S)
        await self._to_the_end()

    async def _take(self, signals: tuple[str, ...], asked_s: float) -> None:
        """One sample of what shows the next act; while its module is silent, of whatever else tells that it wakes."""
        (wanted,) = signals
        asked = wanted if not self._knocks else KNOCK[self._knocks % len(KNOCK)]
        for reading in await _quick(self._run, (asked,)):
            answered_s = self._run.ports.clock.now() if reading.value is None else reading.time_s
            silent = reading.value is None
            value = reading.value if asked == wanted or silent else math.nan
            self._watch.sample(wanted, asked_s, max(asked_s, answered_s), value)
            self._run.ports.show("reading", reading)
            self._knocks = self._knocks + 1 if silent else 0
            if reading.value is not None and asked == wanted:
                self._kept.setdefault(wanted, []).append((reading.time_s, reading.value))
                self._units[wanted] = reading.unit

    def _over(self) -> bool:
        """The first act never came, or nothing can be in time any more."""
        now = self._run.ports.clock.now()
        begun = self._watch.begun
        limit = self._zero_s + FIRST_S if begun is None else begun.high + length_s(self._step) + FIRST_S
        return now > limit

    async def _to_the_end(self) -> None:
        """Acts that no signal shows have their time as well, unless it was missed."""
        if self._watch.miss is not None:
            return
        begun = self._watch.begun
        zero_s = self._zero_s if begun is None else begun.middle
        last = max((m.at_s for m in self._step.marks), default=0.0)
        clock = self._run.ports.clock
        while clock.now() < zero_s + last:
            if self._run.ports.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON)
            await clock.sleep_until(min(zero_s + last, clock.now() + 0.5))

    def series(self) -> tuple[Series, ...]:
        """What was sampled, for anybody to judge again."""
        about = {s.id: s for s in self._run.ports.signals.catalogue()}
        found: list[Series] = []
        for name, samples in self._kept.items():
            times, values = zip(*samples, strict=True)
            known = about.get(name)
            resolution, accuracy = (known.resolution, known.accuracy) if known else (0.0, 0.0)
            found.append(Series(name, self._units[name], times, values, resolution, accuracy))
        return tuple(found)
