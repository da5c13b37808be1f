"""Backup, restore, migration and export under faults: the whole new thing, or the one of before."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import apsw
import pytest

from asleft.model.errors import RecordError
from asleft.record import backup, database, schema
from asleft.record.backup import back_up, restore
from asleft.record.export import export_record
from asleft.record.journal import open_journal
from asleft.record.keys import HISTORY_FILE, SigningKey
from asleft.record.tail import stored_events
from asleft.record.verify import verify
from kit.power_loss import LoggedDisk, Op, disk_after, everything, nothing, some
from kit.record_kit import JOB, HandClock, Source, note, small_job


def test_a_backup_taken_while_a_job_is_written_is_whole(tmp_path: Path) -> None:
    with open_journal(tmp_path / "a") as journals, small_job(journals, close=False) as journal:
        assert back_up(tmp_path / "a", tmp_path / "backup.db") == (JOB,)
        then = journal.stored()
        journal.append(note("after the backup"))
    assert restore(tmp_path / "backup.db", tmp_path / "b") == (JOB,)
    with open_journal(tmp_path / "b") as journals:
        again = journals.reopen(JOB, source=Source(), clock=HandClock())
        assert again.stored() == then
        again.append(note("goes on"))
        again.give_back()
    with pytest.raises(RecordError, match="already"):
        restore(tmp_path / "backup.db", tmp_path / "b")
    with pytest.raises(RecordError):
        back_up(tmp_path / "nothing", tmp_path / "x.db")


def test_a_damaged_journal_or_backup_is_not_passed_on(tmp_path: Path) -> None:
    with open_journal(tmp_path / "a") as journals:
        small_job(journals).give_back()
    back_up(tmp_path / "a", tmp_path / "good.db")
    content = bytearray((tmp_path / "good.db").read_bytes())
    place = content.index(b"left as shown")
    content[place] ^= 1
    (tmp_path / "bad.db").write_bytes(content)
    with pytest.raises(RecordError):
        restore(tmp_path / "bad.db", tmp_path / "b")
    assert not (tmp_path / "b" / database.FILE).exists()
    (tmp_path / "cut.db").write_bytes(content[:9000])
    with pytest.raises(RecordError):
        restore(tmp_path / "cut.db", tmp_path / "c")
    assert list((tmp_path / "c").iterdir()) == []


def dies_at(name: str, patch: pytest.MonkeyPatch) -> None:
    def die(*_: object, **__: object) -> None:
        raise KeyboardInterrupt(name)

    places: dict[str, Callable[[], None]] = {
        "check": lambda: patch.setattr(backup, "_checked", die),
        "sync": lambda: patch.setattr(os, "fsync", die),
        "rename": lambda: patch.setattr(Path, "replace", die),
    }
    places[name]()


@pytest.mark.parametrize("name", ["check", "sync", "rename"])
def test_a_backup_that_dies_leaves_the_one_of_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    with open_journal(tmp_path / "a") as journals, small_job(journals, close=False) as journal:
        back_up(tmp_path / "a", tmp_path / "backup.db")
        before = (tmp_path / "backup.db").read_bytes()
        journal.append(note("new"))
        with monkeypatch.context() as patch:
            dies_at(name, patch)
            with pytest.raises(KeyboardInterrupt):
                back_up(tmp_path / "a", tmp_path / "backup.db")
        assert (tmp_path / "backup.db").read_bytes() == before
        back_up(tmp_path / "a", tmp_path / "backup.db")
    restore(tmp_path / "backup.db", tmp_path / "b")
    assert len(stored_events(tmp_path / "b", JOB)) == 9


@pytest.mark.parametrize("name", ["sync", "rename"])
def test_an_export_that_dies_leaves_the_one_of_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    key = SigningKey.load_or_make(tmp_path)
    with open_journal(tmp_path) as journals, small_job(journals, close=False) as journal:
        export_record(journal, key, tmp_path / "record.zip")
        before = (tmp_path / "record.zip").read_bytes()
        journal.append(note("new"))
        with monkeypatch.context() as patch:
            dies_at(name, patch)
            with pytest.raises(KeyboardInterrupt):
                export_record(journal, key, tmp_path / "record.zip")
        assert (tmp_path / "record.zip").read_bytes() == before
        export_record(journal, key, tmp_path / "record.zip")
    assert verify(tmp_path / "record.zip").events == 9
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".record")]


def test_a_migration_that_fails_in_the_middle_leaves_the_old_layout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = apsw.Connection(str(tmp_path / database.FILE))
    old.execute(schema.STEPS[0])
    old.execute(f"PRAGMA application_id = {schema.APPLICATION}; PRAGMA user_version = 1")
    old.execute("INSERT INTO job VALUES ('A', 'bench')")
    old.close()
    half = schema.STEPS[1] + "; SELECT this_does_not_exist()"
    with monkeypatch.context() as patch:
        patch.setattr(database, "STEPS", (schema.STEPS[0], half))
        with pytest.raises(RecordError):
            open_journal(tmp_path)
    raw = apsw.Connection(str(tmp_path / database.FILE))
    assert raw.pragma("user_version") == 1
    assert not raw.execute("SELECT 1 FROM sqlite_schema WHERE name = 'seal'").fetchall()
    raw.close()
    with open_journal(tmp_path) as journals:
        assert journals.list_jobs() == ("A",)
        with journals.reopen("A", source=Source(), clock=HandClock()) as journal:
            journal.append(note("works"))


@pytest.mark.parametrize("keep", [nothing, everything, some(5)], ids=["nothing", "everything", "torn"])
def test_the_power_fails_at_every_file_operation_of_a_migration(
    tmp_path: Path, keep: Callable[[Op], bytes | None], request: pytest.FixtureRequest
) -> None:
    """On a disk that drops what was not synced: the old layout or the new one, the job in it, and it goes on."""
    name = f"migrated-{request.node.callspec.id}"
    disk = LoggedDisk(name)
    (tmp_path / "old").mkdir()
    old = apsw.Connection(str(tmp_path / "old" / database.FILE), vfs=name)
    old.execute("PRAGMA synchronous = EXTRA")
    old.execute(schema.STEPS[0])
    old.execute(f"PRAGMA application_id = {schema.APPLICATION}; PRAGMA user_version = 1")
    old.execute("INSERT INTO job VALUES ('A', 'bench')")
    old.close()
    before = len(disk.log)
    open_journal(tmp_path / "old", vfs=name).close()
    assert len(disk.log) > before + 5
    for length in range(before, len(disk.log) + 1):
        folder = tmp_path / str(length)
        disk_after(disk.log[:length], folder, keep)
        with open_journal(folder) as journals, journals.reopen("A", source=Source(), clock=HandClock()) as journal:
            assert journal.append(note("works")).sequence == 1
            assert journal.seal(SigningKey.load_or_make(folder))[0].sequence == 1


@pytest.mark.parametrize("name", ["check", "sync", "rename"])
def test_a_restore_that_dies_leaves_nothing_and_can_be_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    key = SigningKey.load_or_make(tmp_path / "a")
    with open_journal(tmp_path / "a", key=key) as journals:
        small_job(journals).give_back()
    back_up(tmp_path / "a", tmp_path / "backup.db")
    with monkeypatch.context() as patch:
        dies_at(name, patch)
        with pytest.raises(KeyboardInterrupt):
            restore(tmp_path / "backup.db", tmp_path / "b")
    assert {path.name for path in (tmp_path / "b").iterdir()} <= {HISTORY_FILE}
    assert restore(tmp_path / "backup.db", tmp_path / "b") == (JOB,)
    assert (tmp_path / "b" / HISTORY_FILE).read_bytes() == key.history
    assert stored_events(tmp_path / "b", JOB) == stored_events(tmp_path / "a", JOB)
    raw = apsw.Connection(str(tmp_path / "b" / database.FILE))
    assert not raw.execute("SELECT 1 FROM sqlite_schema WHERE name = 'keys'").fetchall()
    raw.close()
