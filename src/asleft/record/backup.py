"""Backup and restore of a data folder's journals: a whole, checked copy, or none.

The copy is one file. It is taken while jobs are written, holds all that was acknowledged when it began, and is checked
before it gets its name. Signing keys are not in it: keep them apart.
"""

from __future__ import annotations

import os
from pathlib import Path

import apsw

from asleft.model.errors import Code, RecordError

from .chain import read_chain
from .database import FILE, Database, make_folder, open_for_reading
from .files import sync_folder


def back_up(folder: Path, target: Path) -> tuple[str, ...]:
    """Copy the journals of a data folder into one file.

    Returns: the jobs in it.
    Raises: RecordError: journal-unwritable; record-damaged when a chain in the folder does not hold (no file is left).
    """
    if not (folder / FILE).exists():
        raise RecordError(Code.JOURNAL_UNWRITABLE, "there is no journal", str(folder))
    source = open_for_reading(folder)
    try:
        return _copy(source, target)
    finally:
        source.close()


def restore(backup: Path, folder: Path) -> tuple[str, ...]:
    """Put a backup's journals into a data folder that has none.

    Returns: the jobs in it.
    Raises: RecordError: journal-unwritable, also when journals are there already; record-damaged.
    """
    make_folder(folder)
    if (folder / FILE).exists():
        raise RecordError(Code.JOURNAL_UNWRITABLE, "there are journals already; nothing was changed", str(folder))
    source = Database(backup, flags=apsw.SQLITE_OPEN_READONLY)
    try:
        return _copy(source, folder / FILE)
    finally:
        source.close()


def _copy(source: Database, target: Path) -> tuple[str, ...]:
    """A copy under another name first, checked and synced, then under its own."""
    waiting = target.with_name(f".{target.name}.part")
    try:
        waiting.unlink(missing_ok=True)
        source.rows("VACUUM INTO ?", (str(waiting),))
        jobs = _checked(waiting)
        handle = os.open(waiting, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
        waiting.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(target)) from error
    finally:
        waiting.unlink(missing_ok=True)
    return jobs


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
