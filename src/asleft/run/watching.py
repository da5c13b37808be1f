"""Recording signals while interlocks are watched, and key cycles that are seen by the module falling silent."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence

from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Evidence, Reading, Series
from asleft.model.step import KeyCycle, Observe
from asleft.ports.signals import PacedSignals, Signals

from .asking import STOP, ask_or_see, confirm
from .gate import Gate
from .log import RunLog, StepLog
from .streaming import PartsLog

#: Between two looks for a module that falls silent or wakes, s.
_LOOK_S = 0.5
#: How long the key may take until somebody is asked to look, s.
_KEY_WAIT_S = 30.0


async def record(
    log: RunLog, locks: Gate, signals: Sequence[str], seconds: float, save: str = "", every_s: float = 0.0
) -> tuple[Series, ...]:
    """Record signals and the interlocks' own, in one stream; a broken interlock or a stop ends it at once.

    Args:
        save: name under which parts are written down meanwhile, and the rest when it is cut; empty: none.
        every_s: least time from one reading to the next, s; 0: as fast as the car answers.
    Raises: RunError: interlock-broken, stopped-by-person.
    """
    wanted = tuple(dict.fromkeys((*signals, *locks.signals)))
    ended = False
    parts = PartsLog(log, save, signals)

    def heard(reading: Reading) -> None:
        nonlocal ended
        locks.feed(reading)
        log.ports.show("reading", reading)
        parts.heard(reading)
        if not ended and (log.ports.person.wants_stop or _lost(locks, reading)):
            ended = True
            task.cancel()

    task = asyncio.ensure_future(_recording(log.ports.signals, wanted, seconds, every_s, heard))
    try:
        series = await task
    except asyncio.CancelledError:
        if not ended:
            task.cancel()
            parts.write()
            raise
        parts.write()
        locks.check()
        raise RunError(Code.STOPPED_BY_PERSON) from None
    locks.check()
    return tuple(s for s in series if s.signal in signals)


def _recording(
    signals: Signals, wanted: Sequence[str], seconds: float, every_s: float, heard: Callable[[Reading], None]
) -> Coroutine[None, None, tuple[Series, ...]]:
    if every_s > 0.0 and isinstance(signals, PacedSignals):
        return signals.record_paced(wanted, seconds, every_s, heard)
    return signals.record(wanted, seconds, heard)


def _lost(locks: Gate, reading: Reading) -> bool:
    return any(c.signal == reading.signal for c in locks.conditions) and locks.lost(reading.signal)


async def observe(log: RunLog, step: Observe, locks: Gate) -> tuple[Series, ...]:
    """Say what to do, wait until the person is ready (unless it has begun already), record, keep the samples."""
    if not step.at_once:
        await _ready(log, step)
    with log.step(step.id, say("step.observe", "{text}", text=step.text)) as end:
        watched = locks.without(step.suspends)
        await watched.look()
        series = await record(log, watched, step.signals, step.seconds, step.save, step.every_s)
        log.samples(step.save, series)
        end.message = _counts(series)
    return series


async def _ready(log: RunLog, step: Observe) -> None:
    text = "{text} Recording begins when you press: {seconds} s."
    message = say("observe.ready", text, text=step.text, seconds=f"{step.seconds:g}")
    await confirm(log, message, kind=QuestionKind.ACT, act=step.act, yes="begin")


async def key_cycle(log: RunLog, step: KeyCycle, locks: Gate) -> None:
    """Key off until the module is silent, wait, key on until it answers, record at rest; ``times`` times."""
    for number in range(1, step.times + 1):
        name = f"{step.id}-{number}"
        title = say("step.key-cycle", "key cycle {n} of {times}", n=number, times=step.times)
        with log.step(name, title) as end:
            await _turn(
                log,
                end,
                "key-off",
                say("key.off", "Switch the key off ({n} of {times}).", n=number, times=step.times),
                answers=False,
            )
            await log.ports.clock.sleep_until(log.ports.clock.now() + step.off_s)
            await _turn(
                log,
                end,
                "key-on",
                say(
                    "key.on",
                    "Switch the key on, engine off, foot off the pedal ({n} of {times}).",
                    n=number,
                    times=step.times,
                ),
                answers=True,
            )
            await log.ports.clock.sleep_until(log.ports.clock.now() + step.settle_s)
            if step.signals:
                await locks.look()
                save = f"{step.save}/{number}"
                series = await record(log, locks, step.signals, step.seconds, save)
                log.samples(save, series)
                end.message = say("key.recorded", "{key}; {counts}", key=end.message.text, counts=_counts(series).text)


async def _turn(log: RunLog, end: StepLog, act: str, message: Message, *, answers: bool) -> None:
    """Ask for the key and watch the module: what it shows counts, whoever answers first; what it hides is declared."""
    question = Question(log.number("q"), QuestionKind.ACT, message, ("done", STOP), act=act)
    answer = await ask_or_see(log, question, lambda: _shows(log, answers=answers))
    if answer.evidence is Evidence.MEASURED or await _within(log, _KEY_WAIT_S, answers=answers):
        end.message = say("key.seen", "key seen by the module ({what})", what="answers" if answers else "silent")
    elif answers:
        raise RunError(Code.INTERLOCK_BROKEN, "the module does not answer after key on")
    else:
        end.message = say("key.declared", "key off declared; the module still answers")


async def _shows(log: RunLog, *, answers: bool) -> None:
    """Return once the module answers, or has been silent twice."""
    while not await _within(log, _KEY_WAIT_S, answers=answers):
        pass


async def _within(log: RunLog, seconds: float, *, answers: bool) -> bool:
    """Whether the module answers, or falls silent, within this time; one lost answer is no silence.

    Raises: RunError (stopped-by-person).
    """
    clock = log.ports.clock
    until, needed = clock.now() + seconds, 1 if answers else 2
    seen = 0
    while clock.now() < until:
        if log.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        seen = seen + 1 if await _answers(log) is answers else 0
        if seen >= needed:
            return True
        await clock.sleep_until(clock.now() + _LOOK_S)
    return False


async def _answers(log: RunLog) -> bool:
    (reading,) = await log.ports.signals.read(("engine-speed",))
    return reading.value is not None


def _counts(series: tuple[Series, ...]) -> Message:
    return say("samples.counts", "{counts}", counts=", ".join(f"{s.signal} {len(s)}" for s in series) or "nothing")
