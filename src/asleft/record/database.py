"""The database file of a data folder: SQLite through apsw, write-ahead log, every commit synced.

One file holds the events of many jobs as the bytes they are stored in; its tables stand in ``schema``. Every failure of
disk or file comes out as RecordError (journal-unwritable) with its cause.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import apsw

from asleft.model.errors import Code, RecordError

from .files import sync_folder
from .schema import APPLICATION, STEPS, VERSION

FILE = "journal.db"

#: How long a commit waits for another program's commit in the same folder, ms.
BUSY_MS = 2000

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
    try:
        sync_folder(folder)
    except OSError as error:
        database.close()
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(folder)) from error
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
    for name, value in (("synchronous", "FULL"), ("fullfsync", 1), ("checkpoint_fullfsync", 1), ("foreign_keys", 1),
                        ("secure_delete", 1)):  # fmt: skip
        database.setting(name, value)
    migrate(database)


def migrate(database: Database) -> None:
    """Bring the tables to the present layout, whole or not at all.

    Raises: RecordError: journal-unwritable for a file of another program or of a newer layout.
    """
    with database.one_commit():
        version = database.setting("user_version")
        if version == 0 and not database.rows("SELECT 1 FROM sqlite_schema"):
            database.setting("application_id", APPLICATION)
        elif database.setting("application_id") != APPLICATION or version not in range(1, VERSION + 1):
            detail = f"layout {version} is not known to this program"
            raise RecordError(Code.JOURNAL_UNWRITABLE, detail, str(database.path))
        for step in STEPS[cast("int", version) :]:
            database.rows(step)
        database.setting("user_version", VERSION)
