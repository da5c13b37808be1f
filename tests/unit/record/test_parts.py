"""Samples that are written down while a recording runs: kept by a crash, in the chain, stored once."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event.body import JobClosed, RunStarted, SamplesPart, SamplesTaken
from asleft.event.envelope import decode
from asleft.event.fold import fold
from asleft.model.errors import InternalError
from asleft.model.message import Message
from asleft.model.origin import Origin
from asleft.model.reading import Reading, Series, Signal
from asleft.record.export import export_record, record_members
from asleft.record.findings import Flaw
from asleft.record.job_journal import JobJournal
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey
from asleft.record.verify import verify, verify_members
from asleft.run.log import RunLog
from asleft.run.streaming import PART_S, PartsLog
from kit.record_kit import JOB, HandClock, Source, note, opened

SPEED = Signal("engine-speed", "engine speed", "rpm", 0, 8000, 0.25, 5.0)
END = JobClosed(Message("end", "left as shown", {}), "R. Okafor", True)


class FixedClock(HandClock):
    def now(self) -> float:
        return self.time_s


class Ports:
    """As much of a run's ports as the parts need."""

    def __init__(self, journal: JobJournal, clock: FixedClock) -> None:
        self.journal = journal
        self.clock = clock
        self.signals = self

    def catalogue(self) -> tuple[Signal, ...]:
        return (SPEED,)


def recorded(journal: JobJournal, clock: FixedClock, seconds: float) -> tuple[PartsLog, Series]:
    """Ten readings a second; the parts log and the whole series."""
    log = RunLog(Ports(journal, clock), "r1")  # type: ignore[arg-type]
    parts = PartsLog(log, "idle", ("engine-speed",))
    times: list[float] = []
    for number in range(int(seconds * 10)):
        clock.time_s = number / 10
        reading = Reading("engine-speed", 700.0 + number % 9, "rpm", 0.1, clock.time_s, Origin.BENCH)
        parts.heard(reading)
        times.append(clock.time_s)
    values = tuple(700.0 + number % 9 for number in range(len(times)))
    return parts, Series("engine-speed", "rpm", tuple(times), values, 0.25, 5.0)


def begun(folder: Path) -> tuple[JobJournal, FixedClock]:
    journals, clock = open_journal(folder, key=SigningKey.load_or_make(folder)), FixedClock()
    journal = journals.create(JOB, source=Source(), clock=clock)
    journal.append(opened())
    return journal, clock


def test_a_crash_costs_less_than_a_part(tmp_path: Path) -> None:
    journal, clock = begun(tmp_path)
    recorded(journal, clock, 35.0)
    journal.give_back()  # the program dies here: nothing more is written
    with open_journal(tmp_path) as journals:
        again = journals.reopen(JOB, source=Source(), clock=HandClock())
        kept = [e.body for e in again.events() if isinstance(e.body, SamplesPart)]
        assert [part.part for part in kept] == [1, 2, 3]
        times = [time for part in kept for time in part.series[0].times_s]
        assert times == [n / 10 for n in range(len(times))]
        assert times[-1] >= 35.0 - PART_S - 0.2
        assert (kept[0].series[0].resolution, kept[0].series[0].accuracy) == (0.25, 5.0)
        again.append(END)
        closed = again.events()[-1].body
        assert isinstance(closed, JobClosed)
        assert closed.streams == {}
        assert closed.parts == {"r1/idle/engine-speed": len(times)}
        export_record(again, SigningKey.load_or_make(tmp_path), tmp_path / "r.zip")
        again.give_back()
    result = verify(tmp_path / "r.zip")
    assert result.intact
    assert result.chunks == 3


def test_the_whole_names_the_same_chunks(tmp_path: Path) -> None:
    journal, clock = begun(tmp_path)
    _, series = recorded(journal, clock, 35.0)
    before = set(journal.chunks())
    journal.append(SamplesTaken("r1", "idle", (series,)))
    chunks = journal.chunks()
    assert before < set(chunks)
    assert len(chunks) == len(before) + 1
    assert sum(map(len, chunks.values())) < 1.1 * len(str(series.times_s)) + 1.1 * len(str(series.values))
    assert journal.events()[-1].body == SamplesTaken("r1", "idle", (series,))
    journal.give_back()


def test_the_fold_keeps_parts_until_the_whole_is_there(tmp_path: Path) -> None:
    journal, clock = begun(tmp_path)
    journal.append(RunStarted("r1", "f", "p", "n", "by-wire", "", ""))
    _, series = recorded(journal, clock, 25.0)
    assert len(fold(journal.events()).runs["r1"].parts["idle"]) == 2
    journal.append(SamplesTaken("r1", "idle", (series,)))
    run = fold(journal.events()).runs["r1"]
    assert run.parts == {}
    assert run.samples["idle"].series == (series,)
    journal.give_back()


def test_what_was_recorded_until_a_stop_is_kept(tmp_path: Path) -> None:
    journal, clock = begun(tmp_path)
    parts, series = recorded(journal, clock, 4.0)
    assert not any(isinstance(e.body, SamplesPart) for e in journal.events())
    parts.write()
    parts.write()
    kept = [e.body for e in journal.events() if isinstance(e.body, SamplesPart)]
    assert len(kept) == 1
    assert kept[0].series[0] == series
    stored = journal.stored()[-1]
    assert b'"chunks":["' in stored
    assert decode(stored).body != kept[0]
    journal.give_back()


def test_a_closing_event_counts_streams_and_a_wrong_count_is_found(tmp_path: Path) -> None:
    journal, clock = begun(tmp_path)
    _, series = recorded(journal, clock, 35.0)
    journal.append(SamplesTaken("r1", "idle", (series,)))
    wrong = JobClosed(END.statement, "R", True, journal.counts(), {"r1/idle/engine-speed": 1}, None)
    with pytest.raises(InternalError):
        journal.append(wrong)
    journal.append(END)
    closed = journal.events()[-1].body
    assert isinstance(closed, JobClosed)
    assert closed.streams == {"r1/idle/engine-speed": 350}
    journal.give_back()
    members = signed_with_other_counts(tmp_path, journal)
    assert {f.flaw for f in verify_members(members).findings} == {Flaw.COUNTS}


def signed_with_other_counts(folder: Path, journal: JobJournal) -> dict[str, bytes]:
    """The same record whose closing event says one sample more, by somebody who has the key."""
    key = SigningKey.load_or_make(folder)
    stored = list(journal.stored())
    stored[-1] = stored[-1].replace(b'"r1/idle/engine-speed":350', b'"r1/idle/engine-speed":351')
    members = record_members(stored, key)
    return {**members, **{f"chunks/{name}": content for name, content in journal.chunks().items()}}


def test_notes_are_no_samples(tmp_path: Path) -> None:
    journal, _ = begun(tmp_path)
    journal.append(note("x"))
    journal.append(END)
    closed = journal.events()[-1].body
    assert isinstance(closed, JobClosed)
    assert (closed.streams, closed.parts) == ({}, {})
    journal.give_back()
