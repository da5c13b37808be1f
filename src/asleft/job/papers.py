"""A job's papers: the signed record and the printable report, written by the engine, which alone holds the key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from asleft.record.chain import Link
from asleft.record.export import CHUNKS, export_record
from asleft.record.journal import JobJournal
from asleft.record.tail import stored_chunks, stored_events

from .keyring import load_key

_PAPERS = "papers"
NO_CHUNKS: Mapping[str, bytes] = {}


def record_path(folder: Path, job: str) -> Path:
    """Where a job's signed record stands."""
    return folder / _PAPERS / f"{job}.record.zip"


def report_bytes(links: Sequence[Link], paper: str = "a4", chunks: Mapping[str, bytes] = NO_CHUNKS) -> bytes:
    """The report as PDF, with the record's events attached; the same events give the same bytes.

    Args: links: all events of the job, at least one. chunks: of samples by their SHA-256, attached as ``chunks/…``.
    """
    from asleft.report.typeset import typeset  # noqa: PLC0415 - loads the typesetter

    stored = b"".join(link.stored + b"\n" for link in links)
    events = tuple(link.event for link in links)
    files = {CHUNKS + name: content for name, content in sorted(chunks.items())}
    return typeset(events, links[-1].hash, paper=paper, generated=events[-1].wall, record=stored, files=files)


def stored_report(folder: Path, job: str, paper: str = "a4") -> bytes:
    """The report of a job as it stands in a data folder.

    Raises: RecordError: record-damaged; journal-unwritable (cannot be read).
    """
    return report_bytes(stored_events(folder, job), paper, stored_chunks(folder, job))


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
