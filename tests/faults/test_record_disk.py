"""Disks that are full, slow to let go, read-only or broken: a clear error, nothing lost, and on it goes afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import apsw
import pytest

from asleft.event.body import JobClosed
from asleft.model.errors import Code, RecordError
from asleft.model.message import Message
from asleft.record import database
from asleft.record.export import EVENTS, record_members
from asleft.record.journal import JobJournal, open_journal
from asleft.record.keys import SigningKey
from asleft.record.verify import verify_members
from kit.record_kit import JOB, HandClock, Source, intent, note, small_record


class BadDisk(apsw.VFS):
    """A disk that fails with ``error`` on every ``what`` (write or sync) while that is set."""

    def __init__(self) -> None:
        self.what = ""
        self.error: type[apsw.Error] = apsw.FullError
        super().__init__("bad", "")

    def xOpen(self, name: apsw.URIFilename | str | None, flags: list[int]) -> BadFile:
        return BadFile(self, name, flags)

    def fail(self, what: str) -> None:
        if self.what == what:
            raise self.error


class BadFile(apsw.VFSFile):
    def __init__(self, disk: BadDisk, name: apsw.URIFilename | str | None, flags: list[int]) -> None:
        self._disk = disk
        super().__init__("", name, flags)

    def xWrite(self, data: bytes, offset: int) -> None:
        self._disk.fail("write")
        super().xWrite(data, offset)

    def xSync(self, flags: int) -> None:
        self._disk.fail("sync")
        super().xSync(flags)


@pytest.fixture
def bad_disk() -> BadDisk:
    return BadDisk()


@pytest.fixture
def journal(tmp_path: Path, bad_disk: BadDisk) -> Iterator[JobJournal]:
    with open_journal(tmp_path, vfs="bad") as journals:
        with journals.create(JOB, source=Source(), clock=HandClock()) as journal:
            yield journal
        bad_disk.what = ""


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(("what", "error", "words"), [
    ("write", apsw.FullError, "the disk is full"),
    ("write", apsw.IOError, "the disk reports an error"),
    ("sync", apsw.IOError, "the disk reports an error"),
])  # fmt: skip
def test_a_failing_disk_gives_no_receipt_and_loses_nothing(
    tmp_path: Path, journal: JobJournal, bad_disk: BadDisk, what: str, error: type[apsw.Error], words: str
) -> None:
    journal.append(note("before"))
    bad_disk.what, bad_disk.error = what, error
    for attempt in (lambda: journal.append(note("lost")), lambda: journal.intend(intent())):
        with pytest.raises(RecordError) as caught:
            attempt()
        assert caught.value.code is Code.JOURNAL_UNWRITABLE
        assert words in caught.value.detail
        assert str(tmp_path) in caught.value.where
    bad_disk.what = ""
    receipt = journal.intend(intent("i2"))
    journal.redeem(receipt)
    assert [event.sequence for event in journal.events()] == list(range(1, len(journal.events()) + 1))
    assert journal.stored()


def test_a_busy_file_is_waited_for_and_then_said(
    tmp_path: Path, journal: JobJournal, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = apsw.Connection(str(tmp_path / database.FILE))
    journal.append(note("before"))
    monkeypatch.setattr(database, "BUSY_MS", 50)
    with open_journal(tmp_path) as journals, journals.create("B", source=Source(), clock=HandClock()) as second:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError) as caught:
            second.append(note("wait"))
        assert "busy" in caught.value.detail
        other.execute("COMMIT")
        assert second.append(note("now")).sequence == 1
    other.close()
    assert journal.append(note("after")).sequence == 2


def test_a_read_only_file(tmp_path: Path) -> None:
    small_record(tmp_path, close=False)
    raw = apsw.Connection(
        f"file:{tmp_path / database.FILE}?mode=ro", flags=apsw.SQLITE_OPEN_READONLY | apsw.SQLITE_OPEN_URI
    )
    with pytest.raises(RecordError) as caught, database.told_plainly(tmp_path):
        raw.execute("INSERT INTO job VALUES ('x', 'bench')")
    assert "read-only" in caught.value.detail
    raw.close()


def test_a_folder_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(RecordError) as caught:
        open_journal(tmp_path / "file")
    assert caught.value.code is Code.JOURNAL_UNWRITABLE


def test_every_byte_of_a_small_record_counts(tmp_path: Path) -> None:
    """Every position of every file, one bit each, the bit going round; and what is found names the right line."""
    with open_journal(tmp_path) as journals, journals.create(JOB, source=Source(), clock=HandClock()) as journal:
        for body in (note("Grüße, 88.5"), note("b")):
            journal.append(body)
        journal.append(JobClosed(Message("end", "left as shown", {}), "R. Okafor", True, journal.counts()))
        members = record_members(journal.stored(), SigningKey.load_or_make(tmp_path / "keys"))
    assert verify_members(members).intact
    for name, content in members.items():
        for position in range(len(content)):
            changed = bytearray(content)
            changed[position] ^= 1 << (position % 8)
            result = verify_members({**members, name: bytes(changed)})
            assert not result.intact, (name, position)
            if name == EVENTS and result.findings[0].start is not None:
                line = content[:position].count(b"\n") + 1
                named = min(f.line or line for f in result.findings if f.member == EVENTS)
                assert named in {line, line + 1}, (position, result.findings)
