"""A clock moved by hand, a link that says its origin, and a small job in a journal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from asleft.event.body import (
    Body,
    EffectAnswered,
    EffectSettled,
    JobClosed,
    JobOpened,
    Noted,
    SamplesTaken,
    StepStarted,
)
from asleft.model.effect import Effect, Intent, Settle, Settlement
from asleft.model.message import Message
from asleft.model.module import ModuleAddress
from asleft.model.origin import ClockKind, Origin, WallTrust
from asleft.model.reading import Series
from asleft.model.vin import parse_vin
from asleft.model.work import Vehicle, WorkItem
from asleft.record.journal import JobJournal, Journals, open_journal

JOB = "GSM-2031-0417"
ENGINE = ModuleAddress("engine", 0x7E0, 0x7E8)


class HandClock:
    """A clock that moves a tenth of a second with every look."""

    kind = ClockKind.VIRTUAL

    def __init__(self) -> None:
        self.time_s = 0.0

    def now(self) -> float:
        self.time_s = round(self.time_s + 0.1, 6)
        return self.time_s

    def wall(self) -> tuple[str, WallTrust]:
        return f"2031-04-17T08:{int(self.time_s) // 60:02d}:{self.time_s % 60:06.3f}Z", WallTrust.SIMULATED

    def call_at(self, when_s: float, call: Callable[[], None]) -> None:
        raise NotImplementedError

    async def sleep_until(self, when_s: float) -> None:
        raise NotImplementedError


@dataclass(frozen=True)
class Source:
    """A link, as far as a journal sees one."""

    origin: Origin = Origin.BENCH


def intent(name: str = "i1", payload: str = "31010203") -> Intent:
    return Intent(name, "r1", Effect.ACTUATES, ENGINE, "S1", "0" * 64, payload, "learn, step 4", Settle.ROUTINE_RESULT)


def note(text: str, **values: str) -> Noted:
    return Noted(Message("test.note", text, values))


def opened(origin: Origin = Origin.BENCH) -> JobOpened:
    vehicle = Vehicle(parse_vin("1M8GDM9AXKP042788"), "Aldra", "Fifteen", 2029, 1.6)
    items = (WorkItem("throttle-body-cleaned", "throttle body removed, cleaned and refitted"),)
    return JobOpened("Gable Street Motors", vehicle, items, origin, "in-loop bench bus", "asleft test")


def small_job(journals: Journals, job: str = JOB, origin: Origin = Origin.BENCH, *, close: bool = True) -> JobJournal:
    """A job of nine events with numbers, signs and an effect in it."""
    journal = journals.create(job, source=Source(origin), clock=HandClock())  # pyright: ignore[reportArgumentType]
    series = Series("coolant-temperature", "°C", (0.1, 0.2, 1e-7), (88.5, -0.25, 1e21), 1.0)
    bodies: list[Body] = [
        opened(origin),
        note("Grüße: “{a}”, tab\t, line\nend, \u0001 and 😀", a="1,5"),
        SamplesTaken("r1", "rest", (series,)),
        StepStarted("r1", "s4", Message("step", "learn", {})),
    ]
    for body in bodies:
        journal.append(body, actor="R. Okafor")
    journal.redeem(journal.intend(intent()))
    journal.append(EffectAnswered("i1", "71010203", None, Message("answer", "done", {})))
    journal.append(EffectSettled("i1", Settlement.DONE, Message("settled", "read", {})))
    journal.append(note("previous: {p}", p='"previous":"' + "0" * 64))
    if close:
        journal.append(JobClosed(Message("end", "left as shown", {}), "R. Okafor", True, journal.counts()))
    return journal


def small_record(folder: Path, job: str = JOB, *, close: bool = True) -> tuple[bytes, ...]:
    """Stored bytes of a small job made in ``folder``."""
    with open_journal(folder) as journals, small_job(journals, job, close=close) as journal:
        return journal.stored()
