"""The lease of a job: one writer at a time, given back by the system when the program dies.

The lease is an exclusive lock on a small file of its own, held through SQLite, which knows the locks of every system.
"""

from __future__ import annotations

import re
from pathlib import Path

import apsw

from asleft.model.errors import Code, InputError, RecordError

from .database import Database, make_folder

_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


def checked_number(job: str) -> str:
    """The job's number, when it can be one: letters, digits, dot, dash, underscore; 64 at most.

    Raises: InputError: job-number.
    """
    if not _NUMBER.fullmatch(job):
        raise InputError(Code.JOB_NUMBER, repr(job))
    return job


class JobLease:
    """The right to write one job, held until ``give_back`` or until the process ends."""

    def __init__(self, folder: Path, job: str) -> None:
        """Take it. Raises RecordError: job-in-use when another holds it, journal-unwritable."""
        path = folder / "leases" / f"{checked_number(job)}.lease"
        make_folder(path.parent)
        self._lock = Database(path)
        try:
            self._lock.setting("busy_timeout", 0)
            self._lock.rows("BEGIN EXCLUSIVE")
        except RecordError as error:
            self._lock.close()
            if isinstance(error.__cause__, apsw.BusyError):
                raise RecordError(Code.JOB_IN_USE, job, str(path)) from None
            raise

    def give_back(self) -> None:
        """End the lease; harmless a second time."""
        self._lock.close()
