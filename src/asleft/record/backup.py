"""Backup and restore of a data folder's journals: a whole, checked copy, or none.

The copy is one file. It is taken while jobs are written, holds all that was acknowledged when it began, and is checked
before it gets its name. The history of the public keys is in it, so that seals of before can be checked; signing keys
are not: keep them apart.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import apsw

from asleft.model.errors import Code, RecordError

from .chain import read_chain
from .database import FILE, Database, make_folder, open_for_reading
from .files import put_file, sync_folder
from .keys import HISTORY_FILE

#: The history of keys in a backup, and a journal without it.
_KEEP = "CREATE TABLE keys (content BLOB NOT NULL) STRICT; INSERT INTO keys VALUES (?)"
_LEAVE = "DROP TABLE keys"


def back_up(folder: Path, target: Path) -> tuple[str, ...]:
    """Copy the journals of a data folder into one file.

    Returns: the jobs in it.
    Raises: RecordError: journal-unwritable; record-damaged when a chain in the folder does not hold (no file is left).
    """
    if not (folder / FILE).exists():
        raise RecordError(Code.JOURNAL_UNWRITABLE, "there is no journal", str(folder))
    source = open_for_reading(folder)
    try:
        return _copy(source, target, _KEEP, _history(folder))
    finally:
        source.close()


def restore(backup: Path, folder: Path) -> tuple[str, ...]:
    """Put a backup's journals into a data folder that has none, and the history of keys where there is none.

    Returns: the jobs in it.
    Raises: RecordError: journal-unwritable, also when journals are there already; record-damaged.
    """
    make_folder(folder)
    if (folder / FILE).exists():
        raise RecordError(Code.JOURNAL_UNWRITABLE, "there are journals already; nothing was changed", str(folder))
    source = Database(backup, flags=apsw.SQLITE_OPEN_READONLY)
    try:
        kept = source.rows("SELECT 1 FROM sqlite_schema WHERE name = 'keys'")
        history = bytes(source.rows("SELECT content FROM keys")[0][0]) if kept else b""

        def keep_history() -> None:
            if history:
                put_file(folder / HISTORY_FILE, history, 0o644, only_new=True)

        return _copy(source, folder / FILE, _LEAVE if kept else "", first=keep_history)
    finally:
        source.close()


def _history(folder: Path) -> bytes:
    try:
        return (folder / HISTORY_FILE).read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(folder)) from error


def _copy(
    source: Database, target: Path, change: str, history: bytes = b"", first: Callable[[], None] = lambda: None
) -> tuple[str, ...]:
    """A copy under another name first, checked and synced, then under its own; ``first`` is done just before that."""
    waiting = target.with_name(f".{target.name}.part")
    try:
        waiting.unlink(missing_ok=True)
        source.rows("VACUUM INTO ?", (str(waiting),))
        _change(waiting, change, history)
        jobs = _checked(waiting)
        handle = os.open(waiting, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
        first()
        waiting.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(target)) from error
    finally:
        waiting.unlink(missing_ok=True)
    return jobs


def _change(path: Path, change: str, history: bytes) -> None:
    database = Database(path)
    try:
        if change:
            database.rows(change, (history,) if "?" in change else ())
    finally:
        database.close()


def _checked(path: Path) -> tuple[str, ...]:
    database = Database(path, flags=apsw.SQLITE_OPEN_READONLY)
    try:
        if database.rows("PRAGMA integrity_check") != [("ok",)]:
            raise RecordError(Code.RECORD_DAMAGED, "the copy does not pass SQLite's integrity check", str(path))
        jobs = tuple(str(row[0]) for row in database.rows("SELECT job FROM job ORDER BY job"))
        for job in jobs:
            read_chain(database, job)
        return jobs
    finally:
        database.close()
