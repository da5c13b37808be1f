"""Following jobs from another process: read-only, cheap to ask again and again.

Example::

    tail = Tail(Path("data"), "GSM-2031-0417", after_sequence=0)
    new = tail.poll()       # () at almost no cost when nothing was written
"""

from __future__ import annotations

from pathlib import Path

from asleft.event.envelope import NO_PREVIOUS, Event

from .chain import Link, read_chain, read_chunks
from .database import FILE, Database, open_for_reading
from .lease import checked_number


class Tail:
    """The events of one job as they come, from ``after_sequence`` on. The chain is checked from where it begins."""

    def __init__(self, folder: Path, job: str, after_sequence: int = 0) -> None:
        self._folder = folder
        self._path = folder / FILE
        self._job = checked_number(job)
        self._after = after_sequence
        self._previous: str | None = NO_PREVIOUS if after_sequence == 0 else None
        self._database: Database | None = None
        self._seen: object = None

    @property
    def sequence(self) -> int:
        """Sequence of the last event handed out."""
        return self._after

    def poll(self) -> tuple[Event, ...]:
        """Events written since the last call; none when the folder has no journal yet.

        Raises: RecordError: record-damaged, journal-unwritable (cannot be read).
        """
        return tuple(link.event for link in self.links())

    def links(self) -> tuple[Link, ...]:
        """As ``poll``, with stored bytes and hashes."""
        if self._database is None:
            if not self._path.exists():
                return ()
            self._database = open_for_reading(self._folder)
        version = self._database.setting("data_version")
        if version == self._seen:
            return ()
        links = self._read(self._database)
        self._seen = version
        return tuple(links)

    def close(self) -> None:
        """Let go of the file; harmless a second time."""
        if self._database is not None:
            self._database.close()
            self._database = None
            self._seen = None

    def _read(self, database: Database) -> list[Link]:
        if not database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'event'"):
            return []
        if self._previous is None:
            rows = database.rows("SELECT hash FROM event WHERE job = ? AND sequence = ?", (self._job, self._after))
            if not rows:
                return []
            self._previous = str(rows[0][0])
        links = read_chain(database, self._job, self._after, self._previous)
        if links:
            self._after, self._previous = links[-1].event.sequence, links[-1].hash
        return links


def jobs_in(folder: Path) -> tuple[str, ...]:
    """Numbers of the jobs in a data folder, without taking anything; none when there is no journal yet.

    Raises: RecordError: journal-unwritable (cannot be read).
    """
    if not (folder / FILE).exists():
        return ()
    database = open_for_reading(folder)
    try:
        if not database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'job'"):
            return ()
        return tuple(str(row[0]) for row in database.rows("SELECT job FROM job ORDER BY job"))
    finally:
        database.close()


def stored_events(folder: Path, job: str) -> tuple[Link, ...]:
    """All events of a job as they stand, checked; none when there is no such job.

    Raises: RecordError: record-damaged, journal-unwritable (cannot be read).
    """
    tail = Tail(folder, job)
    try:
        return tail.links()
    finally:
        tail.close()


def stored_chunks(folder: Path, job: str) -> dict[str, bytes]:
    """Chunks of samples of a job by their SHA-256; none when there is no such job.

    Raises: RecordError: journal-unwritable (cannot be read).
    """
    if not (folder / FILE).exists():
        return {}
    database = open_for_reading(folder)
    try:
        return read_chunks(database, job) if database.rows("SELECT 1 FROM sqlite_schema WHERE name = 'chunk'") else {}
    finally:
        database.close()
