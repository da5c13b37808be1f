"""The papers of a job: the report carries what its record is made of."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pikepdf
import pytest

from asleft.job.papers import record_path, stored_report, write_papers
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey
from asleft.record.tail import stored_chunks, stored_events
from asleft.record.verify import verify
from kit.damage import good_record
from kit.record_kit import JOB, HandClock, Source


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A data folder with a closed job whose samples stand in chunks."""
    good_record(tmp_path / "data", events=4)
    return tmp_path / "data"


def attached(pdf: bytes) -> dict[str, bytes]:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return {name: spec.get_file().read_bytes() for name, spec in opened.attachments.items()}


def test_the_report_has_the_events_and_their_chunks(folder: Path) -> None:
    found = attached(stored_report(folder, JOB))
    chunks = stored_chunks(folder, JOB)
    assert len(chunks) == 2
    assert found == {
        "events.jsonl": b"".join(link.stored + b"\n" for link in stored_events(folder, JOB)),
        **{f"chunks/{name}": content for name, content in chunks.items()},
    }
    for name, content in found.items():
        if name.startswith("chunks/"):
            assert hashlib.sha256(content).hexdigest() == name.removeprefix("chunks/")
            assert name.removeprefix("chunks/").encode() in found["events.jsonl"]


def test_all_papers_into_a_folder(folder: Path, tmp_path: Path) -> None:
    key = SigningKey.load_or_make(folder)
    with open_journal(folder, key=key) as journals:
        journal = journals.reopen(JOB, source=Source(), clock=HandClock())
        (tmp_path / "out").mkdir()
        head = write_papers(folder, journal, tmp_path / "out")
        assert write_papers(folder, journal) == head
        journal.give_back()
    assert verify(tmp_path / "out" / "record.zip", held_head=head).intact
    assert record_path(folder, JOB).read_bytes() == (tmp_path / "out" / "record.zip").read_bytes()
    assert len(attached((tmp_path / "out" / "report.pdf").read_bytes())) == 3
