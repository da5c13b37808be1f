"""Two writers cannot interleave: as processes, by the lease; around the lease, by the database itself."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import apsw
import pytest

from asleft.event.envelope import stored_bytes
from asleft.model.errors import Code, RecordError
from asleft.record.database import FILE
from asleft.record.journal import open_journal
from asleft.record.tail import stored_events
from kit import second_writer
from kit.record_kit import JOB, HandClock, Source, note, small_job


class Writer:
    """A writer in a process of its own."""

    def __init__(self, folder: Path, job: str, count: int = 20) -> None:
        words = [sys.executable, second_writer.__file__, str(folder), job, str(count)]
        self.process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def hear(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def go_on(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def kill(self) -> None:
        self.process.kill()
        self.end()

    def end(self) -> None:
        self.process.communicate()


def test_one_process_has_the_job_until_it_ends_or_dies(tmp_path: Path) -> None:
    first = Writer(tmp_path, JOB)
    assert first.hear() == "ready"
    second = Writer(tmp_path, JOB)
    assert second.hear() == "job-in-use"
    second.end()
    first.go_on()
    assert first.hear() == "wrote 20"
    third = Writer(tmp_path, JOB)
    assert third.hear() == "job-in-use"
    third.end()
    first.kill()
    after = Writer(tmp_path, JOB)
    assert after.hear() == "ready"
    after.go_on()
    assert after.hear() == "wrote 20"
    after.kill()
    events = [link.event for link in stored_events(tmp_path, JOB)]
    assert [event.sequence for event in events] == list(range(1, 41))


def test_two_processes_write_two_jobs_side_by_side(tmp_path: Path) -> None:
    """Commits take turns; each chain is its own."""
    writers = [Writer(tmp_path, f"J-{n}", 60) for n in range(2)]
    assert [writer.hear() for writer in writers] == ["ready", "ready"]
    for writer in writers:
        writer.go_on()
    assert [writer.hear() for writer in writers] == ["wrote 60", "wrote 60"]
    for writer in writers:
        writer.kill()
    for number in range(2):
        links = stored_events(tmp_path, f"J-{number}")
        assert len(links) == 60
        assert all(f"J-{number} ".encode() in link.stored for link in links)


def test_around_the_lease_the_database_refuses(tmp_path: Path) -> None:
    """A second program that ignores leases cannot put its event between, whatever it thinks the last one is."""
    with open_journal(tmp_path) as journals:
        journal = small_job(journals, close=False)
        raw = apsw.Connection(str(tmp_path / FILE))
        last = journal.events()[-1]
        mine = stored_bytes(last).replace(b"previous: {p}", b"mine: {p}    ")
        for sequence, previous in (
            (last.sequence, last.previous),
            (last.sequence + 1, last.previous),
            (99, journal.head),
        ):
            with pytest.raises(apsw.ConstraintError):
                raw.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?)", (JOB, sequence, previous, "0" * 64, mine))
        raw.close()
        assert journal.append(note("goes on")).sequence == last.sequence + 1
        journal.give_back()


def test_a_foreign_event_that_did_get_in_stops_the_first_writer(tmp_path: Path) -> None:
    """Even one that fits the chain: the program that holds the lease notices before it writes on."""
    with open_journal(tmp_path) as journals:
        journal = small_job(journals, close=False)
        link = stored_events(tmp_path, JOB)[-1]
        row = (JOB, link.event.sequence + 1, link.hash, "1" * 64, link.stored)
        raw = apsw.Connection(str(tmp_path / FILE))
        raw.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?)", row)
        raw.close()
        with pytest.raises(RecordError) as caught:
            journal.append(note("over it"))
        assert caught.value.code is Code.JOURNAL_UNWRITABLE
        journal.give_back()
        with pytest.raises(RecordError) as caught:
            journals.reopen(JOB, source=Source(), clock=HandClock())
        assert caught.value.code is Code.RECORD_DAMAGED
