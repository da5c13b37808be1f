"""Export and verify: good records hold, every kind of damage is named with its place."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from asleft.event.envelope import event_hash
from asleft.model.errors import Code, InputError, RecordError
from asleft.record.export import export_record, record_members
from asleft.record.findings import Finding, Findings, Flaw
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey
from asleft.record.plainzip import packed
from asleft.record.verify import verify
from kit.record_kit import JOB, HandClock, Source, note, small_job, small_record

Members = dict[str, bytes]


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return SigningKey.load_or_make(tmp_path_factory.mktemp("keys"))


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, ...]:
    return small_record(tmp_path_factory.mktemp("job"))


@pytest.fixture
def members(stored: tuple[bytes, ...], key: SigningKey) -> Members:
    return record_members(stored, key)


def checked(folder: Path, members: Members) -> Findings:
    folder.mkdir(exist_ok=True)
    for name, content in members.items():
        (folder / name).write_bytes(content)
    return verify(folder)


def only(result: Findings, flaw: Flaw) -> Finding:
    """The one flaw; seals and history of keys, which show the same damage again, apart."""
    assert not result.intact
    echo = {Flaw.SEAL, Flaw.HISTORY} - {flaw}
    found = [f for f in result.findings if f.flaw not in echo]
    assert [f.flaw for f in found] == [flaw], [f.text for f in result.findings]
    return found[0]


def lines_of(members: Members) -> list[bytes]:
    return members["events.jsonl"].splitlines(keepends=True)


def with_lines(members: Members, lines: list[bytes]) -> Members:
    return {**members, "events.jsonl": b"".join(lines)}


def test_a_good_record(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path) as journals:
        journal = small_job(journals)
        head = export_record(journal, key, tmp_path / "record.zip")
        assert head == journal.head
    result = verify(tmp_path / "record.zip", held_head=head, public_key=key.public_pem)
    assert result.intact
    assert result.notes == ()
    assert (result.job, result.origin, result.events, result.head, result.closed) == (JOB, "bench", 9, head, True)
    assert result.key == key.fingerprint
    assert result.format == "asleft-record-v1"


def test_the_same_record_gives_the_same_file(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path) as journals, small_job(journals) as journal:
        export_record(journal, key, tmp_path / "a.zip")
        export_record(journal, key, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert archive.namelist() == [
            "events.jsonl", "head", "head.sig", "key.pem", "seals.jsonl", "keys.jsonl", "personal.jsonl"
        ]  # fmt: skip
        assert archive.testzip() is None


def test_an_open_job_says_so(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path) as journals, small_job(journals, close=False) as journal:
        export_record(journal, key, tmp_path / "record.zip")
    result = verify(tmp_path / "record.zip")
    assert result.intact
    assert {message.id for message in result.notes} == {
        "record.note.open", "record.note.no-held-head", "record.note.no-key"}  # fmt: skip


def test_nothing_to_export(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path) as journals:
        empty = journals.create(JOB, source=Source(), clock=HandClock())
        with pytest.raises(RecordError):
            export_record(empty, key, tmp_path / "record.zip")
        empty.append(note("x"))
        with pytest.raises(RecordError) as caught:
            export_record(empty, key, tmp_path / "absent" / "record.zip")
        assert caught.value.code is Code.JOURNAL_UNWRITABLE


def test_a_changed_digit_is_named_with_its_line(tmp_path: Path, members: Members) -> None:
    changed = members["events.jsonl"].replace(b"88.5", b"88.6")
    found = only(checked(tmp_path, {**members, "events.jsonl": changed}), Flaw.CHAIN)
    assert (found.event, found.line, found.member) == (3, 3, "events.jsonl")
    assert found.start is not None
    assert changed[found.start : found.stop] == changed.splitlines()[2]


def test_a_changed_closing_event(tmp_path: Path, members: Members) -> None:
    changed = members["events.jsonl"].replace(b"left as shown", b"left as Shown")
    assert only(checked(tmp_path, {**members, "events.jsonl": changed}), Flaw.HEAD).event == 9


def test_a_link_field_changed_in_the_middle(tmp_path: Path, members: Members) -> None:
    lines = lines_of(members)
    at = lines[4].index(b'"previous":"') + 12
    lines[4] = lines[4][:at] + (b"0" if lines[4][at : at + 1] != b"0" else b"1") + lines[4][at + 1 :]
    assert only(checked(tmp_path, with_lines(members, lines)), Flaw.CHAIN).event == 5


@pytest.mark.parametrize("gone", range(8))
def test_a_deleted_event(tmp_path: Path, members: Members, gone: int) -> None:
    lines = lines_of(members)
    del lines[gone]
    result = checked(tmp_path, with_lines(members, lines))
    found = next(f for f in result.findings if f.flaw is Flaw.SEQUENCE)
    assert found.line == gone + 1
    assert found.message.values == {"first": str(gone + 1), "last": str(gone + 1)}


def test_two_events_swapped(tmp_path: Path, members: Members) -> None:
    lines = lines_of(members)
    lines[3], lines[5] = lines[5], lines[3]
    result = checked(tmp_path, with_lines(members, lines))
    assert {f.flaw for f in result.findings} == {Flaw.SEQUENCE}
    assert result.findings[0].line == 4


@pytest.mark.parametrize("kept", range(1, 9))
def test_cut_off_at_the_end(tmp_path: Path, members: Members, kept: int) -> None:
    result = checked(tmp_path, with_lines(members, lines_of(members)[:kept]))
    assert only(result, Flaw.HEAD).event == kept


def test_cut_in_the_middle_of_a_line(tmp_path: Path, members: Members) -> None:
    result = checked(tmp_path, {**members, "events.jsonl": members["events.jsonl"][:-5]})
    assert {f.flaw for f in result.findings} == {Flaw.FORMAT, Flaw.HEAD, Flaw.SEAL}


def test_everything_cut(tmp_path: Path, members: Members) -> None:
    assert only(checked(tmp_path, {**members, "events.jsonl": b""}), Flaw.FORMAT)


def test_an_event_of_another_job_does_not_fit(tmp_path: Path, members: Members) -> None:
    other = small_record(tmp_path / "other", "GSM-2031-0999")
    lines = lines_of(members)
    lines[4] = other[4] + b"\n"
    flaws = {f.flaw for f in checked(tmp_path / "r", with_lines(members, lines)).findings}
    assert Flaw.JOB in flaws
    assert Flaw.CHAIN in flaws


def test_events_added_after_the_head(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path) as journals, small_job(journals, close=False) as journal:
        members = record_members(journal.stored(), key)
        journal.append(note("later"))
        members["events.jsonl"] = b"".join(line + b"\n" for line in journal.stored())
    found = only(checked(tmp_path / "r", members), Flaw.HEAD)
    assert found.message.id == "record.head.added"


def test_a_rewritten_record_with_the_same_key_shows_against_a_held_head(
    tmp_path: Path, members: Members, key: SigningKey
) -> None:
    with open_journal(tmp_path) as journals, small_job(journals, close=False) as journal:
        held = event_hash(journal.stored()[3])
        journal.append(note("later"))
        export_record(journal, key, tmp_path / "grown.zip")
    assert verify(tmp_path / "grown.zip", held_head=held).intact
    checked(tmp_path / "r", members)
    assert verify(tmp_path / "r", held_head=held[:32] + " " + held[32:].upper()).intact
    elsewhere = event_hash(b"never")
    assert only(verify(tmp_path / "r", held_head=elsewhere), Flaw.HELD_HEAD)
    with pytest.raises(InputError):
        verify(tmp_path / "r", held_head="12ab")


def test_another_key(tmp_path: Path, members: Members, stored: tuple[bytes, ...], key: SigningKey) -> None:
    mine = SigningKey.load_or_make(tmp_path / "mine")
    assert only(checked(tmp_path / "a", {**members, "key.pem": mine.public_pem}), Flaw.SIGNATURE)
    checked(tmp_path / "b", record_members(stored, mine))
    assert verify(tmp_path / "b").intact
    assert only(verify(tmp_path / "b", public_key=key.public_pem), Flaw.KEY).message.id == "record.key.other"


@pytest.mark.parametrize("name", ["events.jsonl", "head", "head.sig", "key.pem", "seals.jsonl", "keys.jsonl"])
def test_a_missing_file(tmp_path: Path, members: Members, name: str) -> None:
    result = checked(tmp_path, {n: c for n, c in members.items() if n != name})
    assert name in {f.member for f in result.findings if f.flaw is Flaw.MEMBER}


def test_origin_cannot_change_within_a_record(tmp_path: Path, key: SigningKey, stored: tuple[bytes, ...]) -> None:
    """Even with a valid chain and signature: origin is one for the whole record and that of the opening event."""
    lines: list[bytes] = []
    previous = b"0" * 64
    for number, line in enumerate(stored):
        other = line.replace(b'"origin":"bench"', b'"origin":"vehicle"') if number == 4 else line
        old = other.split(b'"previous":"')[-1][:64]
        other = other.replace(b'"previous":"' + old, b'"previous":"' + previous)
        lines.append(other)
        previous = event_hash(other).encode()
    found = only(checked(tmp_path, record_members(lines, key)), Flaw.ORIGIN)
    assert found.event == 5


def test_json_that_is_not_canonical(tmp_path: Path, key: SigningKey, stored: tuple[bytes, ...]) -> None:
    """A valid chain over bytes that another reader could read otherwise is refused."""
    last = stored[8].replace(b'"sequence":9', b'"sequence":9.0')
    assert only(checked(tmp_path / "a", record_members([*stored[:8], last], key)), Flaw.FORMAT)
    twice = stored[8].replace(b'"sequence":9', b'"sequence":9,"sequence":9')
    assert only(checked(tmp_path / "b", record_members([*stored[:8], twice], key)), Flaw.FORMAT)


def hostile(*entries: tuple[str, bytes], kind: int = zipfile.ZIP_STORED) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", kind) as archive:
        for name, content in entries:
            archive.writestr(name, content)
    return buffer.getvalue()


HOSTILE: dict[str, Callable[[Members], bytes]] = {
    "not a zip": lambda _: b"PK nothing",
    "empty": lambda _: b"",
    "bomb": lambda m: hostile(*m.items(), kind=zipfile.ZIP_DEFLATED),
    "bomb in a small member": lambda m: hostile(*{**m, "head": bytes(10_000_000)}.items(), kind=zipfile.ZIP_DEFLATED),
    "long head": lambda m: packed({**m, "head": m["head"] + b"0"}),
    "a name that climbs": lambda m: hostile(*m.items(), ("../../etc/passwd", b"x")),
    "an absolute name": lambda m: hostile(("/head", m["head"]), *m.items()),
    "a foreign member": lambda m: hostile(("readme", b"x"), ("head", m["head"])),
    "many members": lambda m: hostile(*((f"f{i}", b"") for i in range(1000)), *m.items()),
    "bytes before": lambda m: b"#!/bin/sh\n" + packed(m),
    "bytes after": lambda m: packed(m) + b"x",
    "another order": lambda m: packed(dict(reversed(m.items()))),
    "a comment": lambda m: packed(m)[:-2] + b"\x01\x00x",
    "cut": lambda m: packed(m)[:-30],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_zips_are_refused(tmp_path: Path, members: Members, name: str) -> None:
    path = tmp_path / "record.zip"
    path.write_bytes(HOSTILE[name](members))
    result = verify(path)
    assert Flaw.CONTAINER in {f.flaw for f in result.findings}
    assert sorted(p.name for p in tmp_path.iterdir()) == ["record.zip"]


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_is_there_twice(tmp_path: Path, members: Members) -> None:
    path = tmp_path / "record.zip"
    forged = members["events.jsonl"].replace(b"88.5", b"99.5")
    names = [(n, c) for n, c in members.items() if n != "key.pem"]
    path.write_bytes(hostile(("events.jsonl", forged), *names))
    assert "twice" in only(verify(path), Flaw.CONTAINER).text


def test_deep_nesting_does_not_break_the_reader(tmp_path: Path, members: Members) -> None:
    deep = b"[" * 200_000
    result = checked(tmp_path, {**members, "events.jsonl": deep + b"\n" + b"{" * 10 + b"\n\n\n"})
    assert Flaw.FORMAT in {f.flaw for f in result.findings}


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert only(verify(tmp_path / "absent.zip"), Flaw.CONTAINER)


def test_findings_say_their_place(tmp_path: Path, members: Members) -> None:
    changed = members["events.jsonl"].replace(b"88.5", b"88.6")
    text = checked(tmp_path, {**members, "events.jsonl": changed}).findings[0].text
    assert text.startswith("events.jsonl, line 3, bytes ")
    assert "event 3 is not the one that event 4 names" in text
