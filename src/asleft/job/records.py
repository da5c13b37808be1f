"""What a workshop does with its records besides writing them: copies, exports, corrections, erasing personal data."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from asleft.model.message import say
from asleft.record import backup
from asleft.record.export import export_record
from asleft.record.journal import JobJournal, Journals, open_journal
from asleft.record.page import verifier_page
from asleft.record.tail import jobs_in

from .clock import now_text, real_clock
from .keyring import load_key
from .papers import record_path

T = TypeVar("T")


def back_up(folder: Path, target: Path) -> tuple[str, ...]:
    """Copy all journals of a data folder into one checked file, also while jobs are written; keys are not in it.

    Returns: the jobs in it. Raises: RecordError.
    """
    return backup.back_up(folder, target)


def restore(copy: Path, folder: Path) -> tuple[str, ...]:
    """Put a copy's journals into a data folder that has none. Returns: the jobs in it. Raises: RecordError."""
    return backup.restore(copy, folder)


def export(folder: Path, job: str, target: Path, *, redacted: bool = False, stamp: bytes = b"") -> str:
    """Write the signed record of a job, whole or without personal texts. Returns: head hash. Raises: RecordError."""
    key = load_key(folder)
    return _with_job(folder, job, lambda journal: export_record(journal, key, target, redacted=redacted, stamp=stamp))


def correct(folder: Path, job: str, event: int, text: str, *, by: str, reason: str) -> int:
    """Say what should stand in place of an earlier event, which stays; its papers are written again.

    Returns: sequence of the correction. Raises: RecordError.
    """
    message = say("record.correction", "{text}", text=text)
    number = _with_job(folder, job, lambda journal: journal.correct(event, message, by=by, reason=reason).sequence)
    _write_again(folder, job)
    return number


def erase(folder: Path, job: str, *, by: str, reason: str) -> int:
    """Erase the personal texts of a job for good, in the journal and in the record that lies beside it.

    Returns: how many. Raises: RecordError.
    """
    with open_journal(folder, key=load_key(folder)) as journals:
        count = journals.erase(job, reason=reason, by=by, wall=now_text())
    _write_again(folder, job)
    return count


def due_for_erasure(folder: Path, years: int) -> tuple[str, ...]:
    """Jobs whose last event is older than this and whose personal texts are still there. Raises: RecordError."""
    if not jobs_in(folder):
        return ()
    with open_journal(folder) as journals:
        return journals.due_for_erasure(today=now_text(), years=years)


def write_verifier_page(target: Path) -> None:
    """The page that checks records in a browser without a network, as a file to give away. Raises: OSError."""
    target.write_bytes(verifier_page())


def _write_again(folder: Path, job: str) -> None:
    """The record beside the journal, when there is one, as the journal now is."""
    if record_path(folder, job).is_file():
        export(folder, job, record_path(folder, job))


def _with_job(folder: Path, job: str, work: Callable[[JobJournal], T]) -> T:
    async def main(journals: Journals) -> T:
        with journals.reopen(job, source=None, clock=real_clock()) as journal:
            return work(journal)

    with open_journal(folder, key=load_key(folder)) as journals:
        return asyncio.run(main(journals))
