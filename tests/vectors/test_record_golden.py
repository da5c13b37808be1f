"""Records that were written once and must stay readable: every version, checked in every way, read whole."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import apsw
import pytest

from asleft.event.body import Body, JobClosed
from asleft.event.envelope import decode, event_hash, kind_of
from asleft.event.fold import fold
from asleft.event.older import OldBody
from asleft.model.message import Message
from asleft.record.export import export_record
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey
from asleft.record.verify import verify
from kit.golden import expected
from kit.recipe import by_hand
from kit.record_kit import HandClock, Source, note

RECORDS = Path(__file__).resolve().parent / "records"
EVERY = sorted(RECORDS.glob("v*/*.zip"))


def name_of(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


def members_of(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_none_is_missing() -> None:
    """A golden record is never deleted and never made again."""
    assert {name_of(path) for path in EVERY} >= {
        "v0/small", "v0/redacted", "v0/corrected", "v0/open", "v0/rotated-with-chunks", "v0/demo",
        "v1/small", "v1/redacted", "v1/corrected", "v1/open", "v1/rotated-with-chunks", "v1/streamed",
        "v1/streamed-and-cut", "v1/revoked-later", "v1/newer-types", "v1/begun-in-v0",
    }  # fmt: skip


@pytest.mark.parametrize("version", ["v0", "v1"])
def test_each_is_what_it_was(version: str) -> None:
    assert expected(RECORDS / version) == json.loads((RECORDS / version / "expected.json").read_text())


@pytest.mark.parametrize("path", EVERY, ids=name_of)
def test_the_recipe_finds_each_intact(tmp_path: Path, path: Path) -> None:
    intact, said = by_hand(tmp_path / "r", members_of(path))
    assert intact, said


@pytest.mark.parametrize("path", [p for p in EVERY if p.stem != "newer-types"], ids=name_of)
def test_each_is_read_and_folds(path: Path) -> None:
    stored = members_of(path)["events.jsonl"].splitlines()
    events = [decode(line) for line in stored]
    state = fold(events)
    assert state.sequence == len(events)
    closing = [e.body for e in events if isinstance(e.body, JobClosed)]
    assert (state.closed is not None) == bool(closing)


def test_an_old_closing_event_is_read_as_the_present_one() -> None:
    stored = members_of(RECORDS / "v0" / "small.zip")["events.jsonl"].splitlines()[-1]
    event = decode(stored)
    assert isinstance(event.body, JobClosed)
    assert (event.body.streams, event.body.parts) == (None, None)
    assert sum(event.body.counts.values()) == 8
    assert kind_of(event, stored) == "job-closed@1"
    new = members_of(RECORDS / "v1" / "small.zip")["events.jsonl"].splitlines()[-1]
    closed = decode(new).body
    assert isinstance(closed, JobClosed)
    assert closed.streams == {"r1/rest/coolant-temperature": 3}
    assert kind_of(decode(new), new) == "job-closed@2"


def test_a_job_of_version_0_goes_on(tmp_path: Path) -> None:
    """A data folder of an older program: its events stay byte for byte, new ones follow in the present version."""
    members = members_of(RECORDS / "v0" / "open.zip")
    stored = members["events.jsonl"].splitlines()
    key = SigningKey.load_or_make(tmp_path)
    with open_journal(tmp_path):
        pass
    job = decode(stored[0]).job
    raw = apsw.Connection(str(tmp_path / "journal.db"))
    raw.execute("INSERT INTO job VALUES (?, 'bench')", (job,))
    previous = "0" * 64
    for number, line in enumerate(stored, 1):
        raw.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?)", (job, number, previous, event_hash(line), line))
        previous = event_hash(line)
    for line in members["personal.jsonl"].splitlines():
        row = json.loads(line)
        raw.execute("INSERT INTO personal VALUES (?, ?, ?, ?)", (job, row["commitment"], row["salt"], row["value"]))
    raw.close()
    with open_journal(tmp_path, key=key) as journals:
        journal = journals.reopen(job, source=Source(), clock=HandClock())
        journal.append(note("went on"))
        journal.append(JobClosed(Message("end", "left as shown", {}), "R. Okafor", True))
        assert journal.stored()[: len(stored)] == tuple(stored)
        export_record(journal, key, tmp_path / "r.zip")
        journal.give_back()
    result = verify(tmp_path / "r.zip")
    assert result.intact, result.findings
    assert result.withheld == 0
    formats = [json.loads(line)["format"] for line in members_of(tmp_path / "r.zip")["events.jsonl"].splitlines()]
    assert formats == ["asleft-record-v0"] * len(stored) + ["asleft-record-v1"] * 2


def test_fields_of_a_type_never_change() -> None:
    """Types that records hold, with their fields. What must change gets the next number; new types are added here."""
    frozen = json.loads((RECORDS / "types.json").read_text())
    now = {str(kind.__struct_config__.tag): list(kind.__struct_fields__) for kind in (*Body.__args__, OldBody)}
    assert {name: now.get(name) for name in frozen} == frozen
    assert set(now) == set(frozen), "a new type is frozen the day it can be written: add it to types.json"
