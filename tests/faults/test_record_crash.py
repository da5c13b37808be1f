"""Kills and power failures at every boundary: nothing acknowledged is lost, the next start reads a clean prefix."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from asleft.event.body import IntentWritten
from asleft.event.envelope import stored_bytes
from asleft.event.fold import fold
from asleft.model.errors import Code, RecordError
from asleft.record.journal import open_journal
from kit import killed_writer
from kit.power_loss import LoggedDisk, Op, disk_after, everything, nothing, some
from kit.record_kit import JOB, HandClock, Source, intent, note

#: Just before which file operation the writer is killed; the job makes about 70.
KILLS = [1, 3, 5, 8, 13, 17, 18, 19, 20, 23, 26, 29, 31, 35, 38, 40, 44, 48, 52, 57]


def check_what_is_left(folder: Path, told: list[str]) -> None:
    """Open what a crash left, and go on."""
    acknowledged = sum(line.startswith("event") for line in told)
    with open_journal(folder) as journals:
        if JOB not in journals.list_jobs():
            assert "created" not in told
            return
        journal = journals.reopen(JOB, source=Source(), clock=HandClock())
        events = journal.events()
        assert len(events) >= acknowledged
        assert [event.sequence for event in events] == list(range(1, len(events) + 1))
        assert journal.stored() == tuple(stored_bytes(event) for event in events)
        sent = {line.split()[1] for line in told if line.startswith("sent")}
        written = {event.body.intent.id for event in events if isinstance(event.body, IntentWritten)}
        assert sent <= written
        for name in written:
            with pytest.raises(RecordError) as caught:
                journal.intend(intent(name))
            assert caught.value.code is Code.RECEIPT_USED
        assert {effect.intent.id for effect in fold(events).unsettled} == written
        assert journal.append(note("after the crash")).sequence == len(events) + 1


def kill_all(folder: Path, names: list[str]) -> None:
    script = Path(killed_writer.__file__)
    arguments = [sys.executable, str(script), str(folder), *names]
    done = subprocess.run(arguments, capture_output=True, text=True, check=True)
    assert done.stdout.count("killed") == len(names), done.stdout + done.stderr
    for name in names:
        told = folder / name / "told"
        check_what_is_left(folder / name, told.read_text().split("\n") if told.exists() else [])


def test_twenty_kills(tmp_path: Path) -> None:
    """Real processes, ended by SIGKILL in the middle of their file operations."""
    kill_all(tmp_path, [str(count) for count in KILLS])


@pytest.mark.soak
@pytest.mark.timeout(900)
def test_five_hundred_kills(tmp_path: Path) -> None:
    """The same, at every file operation several times over."""
    kill_all(tmp_path, [f"{1 + number % 58}-{number}" for number in range(500)])


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Op], list[tuple[int, str]]]:
    """All file operations of one job, and after how many of them each thing was acknowledged."""
    told: list[tuple[int, str]] = []
    disk = LoggedDisk("logged")
    with open_journal(tmp_path_factory.mktemp("logged"), vfs="logged") as journals:
        journal = journals.create(JOB, source=Source(), clock=HandClock())
        told.append((len(disk.log), "created"))
        killed_writer.write_job(journal, lambda text: told.append((len(disk.log), text)))
        journal.give_back()
    return disk.log, told


@pytest.mark.parametrize("name", ["nothing", "everything", "some 1", "some 2", "some 3"])
def test_power_fails_at_every_file_operation(
    tmp_path: Path, logged: tuple[list[Op], list[tuple[int, str]]], name: str
) -> None:
    """After each write, sync, truncation and deletion of the whole job, closing of the file included."""
    log, told = logged
    assert len(log) > 50
    keep: Callable[[Op], bytes | None] = {"nothing": nothing, "everything": everything}.get(name, nothing)
    for length in range(len(log) + 1):
        if name.startswith("some"):
            keep = some(1000 * int(name[-1]) + length)
        folder = tmp_path / str(length)
        disk_after(log[:length], folder, keep)
        check_what_is_left(folder, [text for after, text in told if after <= length])


def test_a_disk_that_would_lie_is_noticed_by_this_test(
    tmp_path: Path, logged: tuple[list[Op], list[tuple[int, str]]]
) -> None:
    """Without the syncs the same check fails: it can."""
    log, told = logged
    unsynced = [op for op in log if op.kind != "sync"]
    disk_after(unsynced, tmp_path / "lying", nothing)
    with pytest.raises(AssertionError):
        check_what_is_left(tmp_path / "lying", [text for _, text in told])
