"""Corrections follow, nothing is edited; the wall clock's source, zone and jumps stand in the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event.body import ClockNoted, Corrected, JobClosed
from asleft.event.fold import fold
from asleft.model.errors import RecordError
from asleft.model.message import Message
from asleft.model.origin import ClockKind, WallTrust
from asleft.record.export import export_record, record_members
from asleft.record.findings import Flaw
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey
from asleft.record.verify import verify, verify_members
from kit.record_kit import JOB, HandClock, Source, note, opened, small_job

RIGHT = Message("test.right", "the plate count was 14.9", {})


class RealClock(HandClock):
    """A real clock whose wall time can be set."""

    kind = ClockKind.REAL
    ahead_s = 0.0

    def wall(self) -> tuple[str, WallTrust]:
        seconds = self.time_s + self.ahead_s
        return (
            f"2031-04-17T{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}:{seconds % 60:06.3f}Z",
            WallTrust.SYSTEM,
        )


def test_a_correction_follows_a_closed_job(tmp_path: Path) -> None:
    key = SigningKey.load_or_make(tmp_path)
    with open_journal(tmp_path, key=key) as journals, small_job(journals) as journal:
        before = journal.stored()
        journal.correct(3, RIGHT, by="R. Okafor", reason="misread")
        assert journal.closed
        assert journal.stored()[:-1] == before
        export_record(journal, key, tmp_path / "r.zip")
        assert fold(journal.events()).corrections[0].event == 3
        with pytest.raises(RecordError):
            journal.correct(99, RIGHT, by="R", reason="x")
        with pytest.raises(RecordError):
            journal.append(note("no"))
    result = verify(tmp_path / "r.zip")
    assert result.intact, result.findings
    assert result.closed


def test_a_correction_that_names_another_event_is_found(tmp_path: Path) -> None:
    key = SigningKey.load_or_make(tmp_path)
    with open_journal(tmp_path) as journals, small_job(journals) as journal:
        journal.append(Corrected(3, "0" * 64, RIGHT, "R", "x"))
        journal.append(Corrected(30, "0" * 64, RIGHT, "R", "x"))
        members = record_members(journal.stored(), key)
    found = verify_members({**members}).findings
    assert [f.event for f in found if f.flaw is Flaw.CORRECTION] == [10, 11]


def test_source_zone_and_jumps_of_a_real_clock(tmp_path: Path) -> None:
    clock = RealClock()
    with open_journal(tmp_path) as journals:
        journal = journals.create(JOB, source=Source(), clock=clock)
        journal.append(opened())
        journal.append(note("a"))
        clock.ahead_s = 3600.0
        journal.append(note("b"))
        clock.ahead_s = 3600.4
        journal.append(note("c"))
        journal.append(JobClosed(RIGHT, "R", False, journal.counts()))
        journal.give_back()
        kinds = [type(event.body).__name__ for event in journal.events()]
        assert kinds == ["JobOpened", "ClockNoted", "Noted", "ClockNoted", "Noted", "Noted", "JobClosed"]
        first, jump = (e.body for e in journal.events() if isinstance(e.body, ClockNoted))
        assert first.source == "system clock"
        assert first.zone
        assert first.jump_s is None
        assert jump.jump_s == pytest.approx(3600.0, abs=0.5)


def test_a_virtual_clock_needs_no_word(tmp_path: Path) -> None:
    with open_journal(tmp_path) as journals, small_job(journals) as journal:
        assert not [event for event in journal.events() if isinstance(event.body, ClockNoted)]
