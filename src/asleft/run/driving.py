"""A drive segment: what it must contain is recognised while driving, spoken, with the screen locked.

Nobody reads or presses while the car moves: a passenger confirms, the driver drives (common practice, no source).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from asleft.model.condition import ConditionResult, ConditionState
from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Reading, Series
from asleft.model.step_more import DriveSegment

from .asking import STOP, ask
from .context import RunContext
from .gate import Gate

PASSENGER = "a passenger confirms"
#: What is said is said again after so long, s, while it is still so.
AGAIN_S = 20.0
CAUTION = "The driver only drives: the road and its rules come first. Stop the segment rather than force it."


async def drive_segment(run: RunContext, step: DriveSegment) -> None:
    """Drive until all conditions have held together for ``hold_s``.

    Raises: RunError: waited-in-vain after ``timeout_s``; stopped-by-person; interlock-broken.
    """
    log = run.log
    told = "{text} The screen is locked while the car moves; what to do is spoken."
    message = say("drive.ready", told, text=step.text)
    question = Question(
        log.number("q"),
        QuestionKind.CONFIRM,
        message,
        (PASSENGER, STOP),
        (say("caution", "{text}", text=CAUTION),),
        act=f"drive:{step.id}",
    )
    await ask(log, question)
    with log.step(step.id, say("step.drive", "{text}", text=step.text)) as end:
        run.ports.show("lock", {"run": log.run, "locked": True})
        try:
            series = await _Segment(run, step).drive()
        finally:
            run.ports.show("lock", {"run": log.run, "locked": False})
        if step.save:
            log.samples(step.save, series)
        end.message = say("drive.held", "held for {s} s", s=f"{step.hold_s:g}")
    _speak(run, say("drive.done", "Segment done. Stop where it is safe."))


def _speak(run: RunContext, message: Message) -> None:
    run.ports.show("speech", {"run": run.log.run, "message": message})


def _side(result: ConditionResult) -> str:
    """Whether the value is rising towards its limits or beyond them is said anew when it changes by ten."""
    return "" if result.value is None else f"{result.value / 10.0:.0f}"


class _Segment:
    """Follows one segment."""

    def __init__(self, run: RunContext, step: DriveSegment) -> None:
        self._run = run
        self._step = step
        self._gate: Gate = run.gate_of(*step.conditions)
        self._since_s: float | None = None
        self._said: tuple[str, float] = ("", float("-inf"))
        self._held = False
        self._kept: dict[str, list[Reading]] = {}
        self._cancel: Callable[[], object] = lambda: None

    async def drive(self) -> tuple[Series, ...]:
        """Raises RunError: waited-in-vain, stopped-by-person."""
        run, step = self._run, self._step
        wanted = tuple(dict.fromkeys((*step.signals, *self._gate.signals)))
        self._kept = {name: [] for name in wanted}
        task = asyncio.ensure_future(run.ports.signals.record(wanted, step.timeout_s, self._heard))
        self._cancel = task.cancel
        try:
            series = await task
        except asyncio.CancelledError:
            if not (self._held or run.ports.person.wants_stop):
                task.cancel()
                raise
            series = tuple(self._series(name) for name in step.signals)
        if self._held:
            return tuple(s for s in series if s.signal in step.signals)
        if run.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        missing = [r for r in self._gate.results() if r.state is not ConditionState.MET]
        why = "; ".join(r.reason.text for r in missing if r.reason) or f"not {step.hold_s:g} s together"
        raise RunError(Code.WAITED_IN_VAIN, why, step.id)

    def _heard(self, reading: Reading) -> None:
        run = self._run
        self._gate.feed(reading)
        self._kept[reading.signal].append(reading)
        run.ports.show("reading", reading)
        if self._held or run.ports.person.wants_stop:
            self._cancel()
            return
        results = self._gate.results()
        missing = [r for r in results if r.state is not ConditionState.MET]
        if missing:
            self._since_s = None
            self._tell(missing[0], reading.time_s)
            return
        if self._since_s is None:
            self._since_s = reading.time_s
            self._say(say("drive.hold", "Good. Hold it for {s} seconds.", s=f"{self._step.hold_s:g}"), reading.time_s)
        if reading.time_s - self._since_s >= self._step.hold_s:
            self._held = True
            self._gate.note(results, "driving")
            self._cancel()

    def _tell(self, result: ConditionResult, now_s: float) -> None:
        if result.reason is not None:
            self._say(result.reason, now_s, key=f"{result.condition} {result.reason.id} {_side(result)}")

    def _say(self, message: Message, now_s: float, key: str = "hold") -> None:
        """Not the same thing again and again."""
        said, when_s = self._said
        if said != key or now_s - when_s >= AGAIN_S:
            self._said = (key, now_s)
            _speak(self._run, message)

    def _series(self, name: str) -> Series:
        readings = self._kept[name]
        about = {s.id: s for s in self._run.ports.signals.catalogue()}.get(name)
        resolution, accuracy = (about.resolution, about.accuracy) if about else (0.0, 0.0)
        values = tuple(r.value for r in readings if r.value is not None)
        times = tuple(r.time_s for r in readings if r.value is not None)
        return Series(name, readings[0].unit if readings else "1", times, values, resolution, accuracy)
