"""The database file of a data folder: SQLite through apsw, write-ahead log, every commit synced.

One file holds the events of many jobs as the bytes they are stored in. Rows are only ever added: triggers refuse a
change, a deletion, a gap in the sequence and an event that does not name the hash of the one before it. Every failure
of disk or file comes out as RecordError (journal-unwritable) with its cause.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import apsw

from asleft.event.envelope import GENESIS
from asleft.model.errors import Code, RecordError

FILE = "journal.db"

#: How long a commit waits for another program's commit in the same folder, ms.
BUSY_MS = 2000

_APPLICATION = 0x61736C66
_VERSION = 1

_SCHEMA = """
CREATE TABLE job (
    job TEXT PRIMARY KEY NOT NULL,
    origin TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE event (
    job TEXT NOT NULL REFERENCES job,
    sequence INTEGER NOT NULL CHECK (sequence >= 1),
    previous TEXT NOT NULL,
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    stored BLOB NOT NULL,
    UNIQUE (job, sequence)
) STRICT;
CREATE TRIGGER event_chained BEFORE INSERT ON event
WHEN new.sequence <> coalesce((SELECT max(sequence) FROM event WHERE job = new.job), 0) + 1
  OR new.previous <> coalesce((SELECT hash FROM event WHERE job = new.job AND sequence = new.sequence - 1), 'GENESIS')
BEGIN SELECT RAISE(ABORT, 'the event does not follow the last one'); END;
CREATE TRIGGER event_not_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'events are never changed'); END;
CREATE TRIGGER event_not_deleted BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;
CREATE TRIGGER job_not_changed BEFORE UPDATE ON job
BEGIN SELECT RAISE(ABORT, 'jobs are never changed'); END;
CREATE TRIGGER job_not_deleted BEFORE DELETE ON job
BEGIN SELECT RAISE(ABORT, 'jobs are never deleted'); END;
""".replace("GENESIS", GENESIS)

_CAUSES: tuple[tuple[type[apsw.Error], str], ...] = (
    (apsw.BusyError, "another program keeps the file busy"),
    (apsw.FullError, "the disk is full"),
    (apsw.ReadOnlyError, "the file or its folder is read-only"),
    (apsw.CantOpenError, "the file cannot be opened"),
    (apsw.CorruptError, "the file is damaged"),
    (apsw.NotADBError, "the file is not a journal"),
    (apsw.IOError, "the disk reports an error"),
    (apsw.ConstraintError, "the rules of the journal refuse it"),
)


@contextmanager
def told_plainly(where: Path) -> Generator[None]:
    """Turn any database error into RecordError (journal-unwritable) that says the cause and the file."""
    try:
        yield
    except apsw.Error as error:
        cause = next((text for kind, text in _CAUSES if isinstance(error, kind)), "the database refuses")
        raise RecordError(Code.JOURNAL_UNWRITABLE, f"{cause}: {error}", str(where)) from error


class Database:
    """An open database file. The one place that touches the driver's connection."""

    def __init__(self, path: Path, *, flags: int | None = None, vfs: str | None = None) -> None:
        """Open it. Raises RecordError (journal-unwritable)."""
        self.path = path
        with told_plainly(path):
            writing = apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE
            # Any: the driver's own type hints name types that this Python does not have
            self._raw = cast("Any", apsw.Connection(str(path), flags=flags or writing, vfs=vfs))
            self._raw.set_busy_timeout(BUSY_MS)

    def rows(self, sql: str, values: tuple[object, ...] = ()) -> list[tuple[Any, ...]]:
        """Run statements and return all rows. Raises RecordError (journal-unwritable)."""
        with told_plainly(self.path):
            return self._raw.execute(sql, values).fetchall()

    def setting(self, name: str, value: str | int | None = None) -> object:
        """Read, or set and read back, a setting of the database."""
        with told_plainly(self.path):
            return self._raw.pragma(name) if value is None else self._raw.pragma(name, value)

    @contextmanager
    def one_commit(self) -> Generator[None]:
        """A write transaction: durable at the end, rolled back by any error."""
        self.rows("BEGIN IMMEDIATE")
        try:
            yield
            self.rows("COMMIT")
        except BaseException:
            if self._raw.in_transaction:
                self.rows("ROLLBACK")
            raise

    def close(self) -> None:
        """Let go of the file; harmless a second time."""
        self._raw.close()


def open_for_writing(folder: Path, vfs: str | None = None) -> Database:
    """The folder's database, made on first use; each commit on it is durable when it returns.

    Args: vfs: name of a SQLite file layer, for tests that let a disk fail; None: the system's.
    Raises: RecordError: journal-unwritable.
    """
    make_folder(folder)
    database = Database(folder / FILE, vfs=vfs)
    try:
        _prepare(database)
    except BaseException:
        database.close()
        raise
    _sync_folder(folder)
    return database


def open_for_reading(folder: Path) -> Database:
    """The folder's database, for reading only. Raises RecordError (journal-unwritable)."""
    return Database(folder / FILE, flags=apsw.SQLITE_OPEN_READONLY)


def make_folder(folder: Path) -> None:
    """Make a folder where there is none. Raises RecordError (journal-unwritable)."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        detail = f"the folder cannot be made: {error.strerror}"
        raise RecordError(Code.JOURNAL_UNWRITABLE, detail, str(folder)) from error


def _prepare(database: Database) -> None:
    # EXTRA: the file of before the change to a write-ahead log stays deleted, should the power fail now
    database.setting("synchronous", "EXTRA")
    if database.setting("journal_mode", "wal") != "wal":
        raise RecordError(Code.JOURNAL_UNWRITABLE, "this disk cannot hold a write-ahead log", str(database.path))
    for name, value in (("synchronous", "FULL"), ("fullfsync", 1), ("checkpoint_fullfsync", 1), ("foreign_keys", 1)):
        database.setting(name, value)
    with database.one_commit():
        version = database.setting("user_version")
        if version == 0 and not database.rows("SELECT 1 FROM sqlite_schema"):
            database.rows(_SCHEMA)
            database.setting("application_id", _APPLICATION)
            database.setting("user_version", _VERSION)
        elif database.setting("application_id") != _APPLICATION or version != _VERSION:
            detail = f"layout {version} is not known to this program"
            raise RecordError(Code.JOURNAL_UNWRITABLE, detail, str(database.path))


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
