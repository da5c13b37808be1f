"""The journal: durable, chained, one writer a job, receipts once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import apsw
import msgspec
import pytest

from asleft.event.body import IntentWritten, JobClosed
from asleft.event.envelope import NO_PREVIOUS, event_hash, stored_bytes
from asleft.event.fold import fold
from asleft.model.errors import AsleftError, Code, InputError, InternalError, RecordError, RunError
from asleft.model.message import Message
from asleft.model.origin import Origin
from asleft.ports.journal import Journal
from asleft.record.journal import JobJournal, Journals, open_journal
from asleft.record.tail import Tail, jobs_in, stored_events
from kit.record_kit import JOB, HandClock, Source, intent, note, opened, small_job


@pytest.fixture
def journals(tmp_path: Path) -> Iterator[Journals]:
    with open_journal(tmp_path) as journals:
        yield journals


def code_of(call: object, *arguments: object, **named: object) -> Code:
    with pytest.raises(AsleftError) as caught:
        call(*arguments, **named)  # type: ignore[operator]
    return caught.value.code


def test_a_job_is_a_chain_that_folds(journals: Journals) -> None:
    journal = small_job(journals)
    port: Journal = journal
    events = port.events()
    assert [event.sequence for event in events] == list(range(1, 10))
    hashes = [event_hash(stored) for stored in journal.stored()]
    assert [event.previous for event in events] == [NO_PREVIOUS, *hashes[:-1]]
    assert journal.head == hashes[-1]
    state = fold(events)
    assert state.origin is Origin.BENCH
    assert not state.unsettled
    assert state.closed is not None


def test_what_was_written_is_read_back_the_same(tmp_path: Path, journals: Journals) -> None:
    journal = small_job(journals, close=False)
    events, stored = journal.events(), journal.stored()
    journal.give_back()
    again = journals.reopen(JOB, source=Source(), clock=HandClock())
    assert again.events() == events
    assert again.stored() == stored
    assert stored[1:] == tuple(stored_bytes(event) for event in events[1:])
    more = again.append(note("on"))
    assert more.sequence == 9
    assert more.previous == event_hash(stored[-1])
    assert stored_events(tmp_path, JOB)[-1].event == more


def test_the_origin_is_what_the_link_says(journals: Journals) -> None:
    for origin in Origin:
        journal = journals.create(origin.value, source=Source(origin), clock=HandClock())
        assert journal.append(note("x")).origin is origin
    assert journals.create("by-hand", source=None, clock=HandClock()).origin is Origin.VEHICLE


def test_a_job_is_not_continued_on_another_kind_of_link(journals: Journals) -> None:
    small_job(journals, close=False).give_back()
    vehicle = Source(Origin.VEHICLE)
    assert code_of(journals.reopen, JOB, source=vehicle, clock=HandClock()) is Code.ORIGIN_DIFFERS


def test_a_receipt_is_good_once(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    receipt = journal.intend(intent())
    assert isinstance(journal.events()[-1].body, IntentWritten)
    assert receipt.sequence == 1
    journal.redeem(receipt)
    with pytest.raises(RecordError) as caught:
        journal.redeem(receipt)
    assert caught.value.code is Code.RECEIPT_USED


@pytest.mark.parametrize("change", [{"payload": "31010204"}, {"token": "0" * 32}, {"job": "other"}, {"sequence": 9},
                                    {"intent": "i9"}])  # fmt: skip
def test_an_altered_receipt_is_worth_nothing(journals: Journals, change: dict[str, object]) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    receipt = journal.intend(intent())
    with pytest.raises(RunError) as caught:
        journal.redeem(msgspec.structs.replace(receipt, **change))
    assert caught.value.code is Code.RECEIPT_MISSING
    journal.redeem(receipt)


def test_an_intent_of_before_a_crash_yields_no_receipt(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    receipt = journal.intend(intent())
    journal.give_back()
    again = journals.reopen(JOB, source=Source(), clock=HandClock())
    assert code_of(again.redeem, receipt) is Code.RECEIPT_MISSING
    assert code_of(again.intend, intent()) is Code.RECEIPT_USED
    assert [effect.intent.id for effect in fold(again.events()).unsettled] == ["i1"]


def test_the_token_is_not_in_the_record(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    receipt = journal.intend(intent())
    assert receipt.token.encode() not in b"".join(journal.stored())


def test_two_writers_of_one_job_cannot_be(tmp_path: Path, journals: Journals) -> None:
    journal = small_job(journals, close=False)
    with open_journal(tmp_path) as other:
        assert code_of(other.reopen, JOB, source=Source(), clock=HandClock()) is Code.JOB_IN_USE
        assert code_of(other.create, JOB, source=Source(), clock=HandClock()) is Code.JOB_IN_USE
        other.create("another", source=Source(), clock=HandClock()).append(note("side by side"))
        journal.append(note("goes on"))
        journal.give_back()
        other.reopen(JOB, source=Source(), clock=HandClock()).append(note("now mine"))
    assert code_of(journal.append, note("mine no more")) is Code.JOURNAL_UNWRITABLE


def test_numbers_of_jobs(journals: Journals) -> None:
    assert journals.list_jobs() == ()
    small_job(journals, "B-2").give_back()
    small_job(journals, "A-1").give_back()
    assert journals.list_jobs() == ("A-1", "B-2")
    for bad in ("", "../up", "a/b", "x" * 65, "-a", "a b"):
        with pytest.raises(InputError):
            journals.create(bad, source=Source(), clock=HandClock())
    assert code_of(journals.create, "A-1", source=Source(), clock=HandClock()) is Code.JOB_EXISTS
    assert code_of(journals.reopen, "C-3", source=Source(), clock=HandClock()) is Code.JOB_UNKNOWN


def test_nothing_follows_the_closing_event(journals: Journals) -> None:
    journal = small_job(journals)
    assert journal.closed
    assert code_of(journal.append, note("late")) is Code.JOB_CLOSED
    journal.give_back()
    again = journals.reopen(JOB, source=Source(), clock=HandClock())
    assert code_of(again.append, note("late")) is Code.JOB_CLOSED


def test_a_closing_event_that_counts_wrongly_is_refused(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    journal.append(opened())
    with pytest.raises(InternalError):
        journal.append(JobClosed(Message("end", "", {}), "R", True, {"job-opened@1": 2}))
    assert len(journal.events()) == 1


def test_what_cannot_be_stored_is_refused_and_leaves_no_trace(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    with pytest.raises(InternalError):
        journal.append(note("half a pair: \ud83d"))
    journal.append(note("fine"))
    assert [event.sequence for event in journal.events()] == [1]


def test_the_database_itself_refuses_to_forget(tmp_path: Path, journals: Journals) -> None:
    small_job(journals).give_back()
    raw = apsw.Connection(str(tmp_path / "journal.db"))
    for statement in (
        "DELETE FROM event WHERE sequence = 9",
        "UPDATE event SET stored = x'7b7d' WHERE sequence = 2",
        "DELETE FROM job",
        "UPDATE job SET origin = 'vehicle'",
        f"INSERT INTO event VALUES ('{JOB}', 11, '', '{NO_PREVIOUS}', x'')",
        f"INSERT INTO event VALUES ('{JOB}', 10, '{NO_PREVIOUS}', '{NO_PREVIOUS}', x'')",
        f"REPLACE INTO event VALUES ('{JOB}', 9, '{NO_PREVIOUS}', '{NO_PREVIOUS}', x'')",
    ):
        with pytest.raises(apsw.ConstraintError):
            raw.execute(statement)
    raw.close()
    assert len(stored_events(tmp_path, JOB)) == 9


def test_sqlite_finds_its_own_file_whole(tmp_path: Path, journals: Journals) -> None:
    """SQLite's integrity check, by the standard library's own SQLite."""
    small_job(journals)
    other = sqlite3.connect(tmp_path / "journal.db")
    assert other.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert other.execute("PRAGMA foreign_key_check").fetchall() == []
    other.close()


def test_a_damaged_row_is_found_on_reopening(tmp_path: Path, journals: Journals) -> None:
    small_job(journals, close=False).give_back()
    raw = apsw.Connection(str(tmp_path / "journal.db"))
    raw.execute("DROP TRIGGER event_not_changed")
    raw.execute("UPDATE event SET stored = CAST(replace(stored, '88.5', '88.6') AS BLOB) WHERE sequence = 3")
    raw.close()
    with pytest.raises(RecordError) as caught:
        journals.reopen(JOB, source=Source(), clock=HandClock())
    assert caught.value.code is Code.RECORD_DAMAGED
    assert "event 3" in caught.value.detail


def test_a_tail_sees_what_is_new_and_nothing_twice(tmp_path: Path, journals: Journals) -> None:
    journal: JobJournal = journals.create(JOB, source=Source(), clock=HandClock())
    tail = Tail(tmp_path, JOB)
    assert tail.poll() == ()
    first = journal.append(note("one"))
    assert tail.poll() == (first,)
    assert tail.poll() == ()
    second, third = journal.append(note("two")), journal.append(note("three"))
    late = Tail(tmp_path, JOB, after_sequence=2)
    assert late.poll() == (third,)
    assert tail.poll() == (second, third)
    assert tail.sequence == 3
    tail.close()
    late.close()


def test_a_tail_waits_for_a_journal_that_is_not_there_yet(tmp_path: Path) -> None:
    folder = tmp_path / "later"
    tail = Tail(folder, JOB, after_sequence=1)
    assert tail.poll() == ()
    assert jobs_in(folder) == ()
    with open_journal(folder) as journals:
        assert tail.poll() == ()
        small_job(journals)
        assert len(tail.poll()) == 8
        assert jobs_in(folder) == (JOB,)
    tail.close()


def test_a_file_of_another_program_is_left_alone(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "journal.db")
    other.execute("CREATE TABLE theirs (a)")
    other.commit()
    other.close()
    with pytest.raises(RecordError) as caught:
        open_journal(tmp_path)
    assert caught.value.code is Code.JOURNAL_UNWRITABLE
