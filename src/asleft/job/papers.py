"""A job's papers: the signed record and the printable report, written by the engine, which alone holds the key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from asleft.model.errors import Code, RecordError
from asleft.record.chain import Link
from asleft.record.export import CHUNKS, export_record
from asleft.record.journal import JobJournal
from asleft.record.tail import stored_chunks, stored_events
from asleft.report.profile import Profile

from .keyring import load_key
from .workshop import read_workshop

_PAPERS = "papers"
NO_CHUNKS: Mapping[str, bytes] = {}


def record_path(folder: Path, job: str) -> Path:
    """Where a job's signed record stands."""
    return folder / _PAPERS / f"{job}.record.zip"


def report_bytes(
    links: Sequence[Link],
    paper: str = "a4",
    chunks: Mapping[str, bytes] = NO_CHUNKS,
    profile: Profile | None = None,
) -> bytes:
    """The report as PDF, with the record's events attached; the same events and profile give the same bytes.

    Args: links: all events of the job, at least one. chunks: of samples by their SHA-256, attached as ``chunks/…``.
    """
    from asleft.report.typeset import typeset  # noqa: PLC0415 - loads the typesetter

    stored = b"".join(link.stored + b"\n" for link in links)
    events = tuple(link.event for link in links)
    files = {CHUNKS + name: content for name, content in sorted(chunks.items())}
    at = events[-1].wall
    return typeset(events, links[-1].hash, paper=paper, generated=at, record=stored, files=files, profile=profile)


def stored_report(folder: Path, job: str, paper: str = "", **changes: Any) -> bytes:
    """The report of a job as it stands in a data folder, as the workshop's settings want its paper.

    Args:
        paper: ``a4`` or ``letter``; empty: as the settings say.
        changes: of the profile, by name: ``language``, ``locale``, ``customary``, ``redacted``.
    Raises: RecordError: job-unknown; record-damaged; journal-unwritable (cannot be read). InputError: paper-unknown,
        language-unknown, setting-bad.
    """
    links = stored_events(folder, job)
    if not links:
        raise RecordError(Code.JOB_UNKNOWN, job, str(folder))
    workshop = read_workshop(folder)
    profile = msgspec.structs.replace(workshop.profile(folder), **changes)
    return report_bytes(links, paper or workshop.paper, stored_chunks(folder, job), profile)


def write_papers(folder: Path, journal: JobJournal, into: Path | None = None) -> str:
    """Sign and write the record, typeset the report. Returns the head hash.

    Args: into: a folder for ``record.zip``, ``report.pdf`` and ``key.pem`` instead of the data folder's own places.
    Raises: RecordError.
    """
    key = load_key(folder)
    record = record_path(folder, journal.job) if into is None else into / "record.zip"
    record.parent.mkdir(parents=True, exist_ok=True)
    head = export_record(journal, key, record)
    if into is not None:
        (into / "key.pem").write_bytes(key.public_pem)
        (into / "report.pdf").write_bytes(stored_report(folder, journal.job))
    return head
