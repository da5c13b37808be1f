"""Personal data: committed to, never in the chained bytes, erasable; samples in chunks; secrets never."""

from __future__ import annotations

import json
from pathlib import Path

import apsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.event.body import EffectAnswered, FactStated, PictureTaken, SamplesTaken
from asleft.event.envelope import decode
from asleft.model.effect import Effect
from asleft.model.errors import Code, RecordError
from asleft.model.fact import Fact, FactKey
from asleft.model.message import Message
from asleft.model.module import Item, ModulePicture, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.record.export import export_record, record_of
from asleft.record.findings import Flaw
from asleft.record.journal import JobJournal, Journals, open_journal
from asleft.record.keys import SigningKey
from asleft.record.personal import PersonalBook, commitment_of
from asleft.record.storing import CHUNK, INLINE, from_stored, to_stored
from asleft.record.tail import stored_events
from asleft.record.verify import verify, verify_members
from kit.record_kit import JOB, HandClock, Source, intent, note, opened, small_job

VIN = "1M8GDM9AXKP042788"
ENGINE_RAW = ("62F190" + VIN.encode().hex()).upper()


@pytest.fixture
def journals(tmp_path: Path):
    with open_journal(tmp_path) as journals:
        yield journals


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return SigningKey.load_or_make(tmp_path_factory.mktemp("keys"))


def personal_job(journals: Journals) -> JobJournal:
    journal = journals.create(JOB, source=Source(Origin.VEHICLE), clock=HandClock())
    journal.append(opened(Origin.VEHICLE))
    items = (Item("vin", "VIN", VIN, ENGINE_RAW), Item("part-number", "part number", "A1"))
    module = ModulePicture(intent().target, responded=True, identification=items)
    journal.append(PictureTaken(Picture(PictureKind.AS_FOUND, 0.0, 1.0, (module,))))
    journal.append(FactStated(Fact(FactKey.CUSTOMER, "Ada Quill", source="Ada Quill")))
    journal.append(FactStated(Fact(FactKey.PLATE, "GS 417 X")))
    journal.append(FactStated(Fact(FactKey.ODOMETER_IN, "84112", "km")))
    journal.append(FactStated(Fact(FactKey.TYRES, "205/55 R16")))
    journal.append(note(f"The VIN {VIN.lower()} of {{who}}", who="for Ada Quill, plate GS 417 X"))
    return journal


def test_no_personal_text_is_in_the_stored_bytes(tmp_path: Path, journals: Journals) -> None:
    journal = personal_job(journals)
    stored = b"".join(journal.stored()).upper()
    for text in (VIN, VIN.encode().hex(), "Ada Quill", "GS 417 X", "84112"):
        assert text.upper().encode() not in stored, text
    assert b"205/55 R16" in stored
    events = journal.events()
    journal.give_back()
    assert tuple(link.event for link in stored_events(tmp_path, JOB)) == events
    again = journals.reopen(JOB, source=None, clock=HandClock())
    again.append(note(f"again {VIN}"))
    assert VIN.encode() not in again.stored()[-1]


def test_one_text_has_one_commitment_and_another_job_another(journals: Journals) -> None:
    journal = personal_job(journals)
    rows = journal.withheld()
    assert len({row.value for row in rows}) == len(rows)
    assert all(row.commitment == commitment_of(row.salt, row.value) for row in rows)
    assert len({row.salt for row in rows}) == len(rows)
    journal.give_back()
    other = journals.create("other", source=Source(Origin.VEHICLE), clock=HandClock())
    other.append(opened(Origin.VEHICLE))
    assert not {row.commitment for row in rows} & {row.commitment for row in other.withheld()}


def test_export_whole_and_redacted(tmp_path: Path, journals: Journals, key: SigningKey) -> None:
    journal = personal_job(journals)
    whole, redacted = tmp_path / "whole.zip", tmp_path / "redacted.zip"
    heads = {export_record(journal, key, whole), export_record(journal, key, redacted, redacted=True)}
    assert len(heads) == 1
    assert VIN.encode() in whole.read_bytes()
    for text in (VIN, VIN.encode().hex().upper(), "Ada Quill", "GS 417 X", "84112"):
        assert text.encode() not in redacted.read_bytes()
    open_, closed = verify(whole), verify(redacted)
    assert open_.intact
    assert closed.intact
    assert (open_.withheld, closed.withheld) == (0, len(journal.withheld()))
    assert any("withheld" in note.text for note in closed.notes)


def test_erasure_leaves_a_chain_that_holds(tmp_path: Path, journals: Journals, key: SigningKey) -> None:
    journal = personal_job(journals)
    stored, count = journal.stored(), len(journal.withheld())
    with pytest.raises(RecordError) as caught:
        journals.erase(JOB, reason="x", by="R", wall="2039-01-01T00:00:00.000Z")
    assert caught.value.code is Code.JOB_IN_USE
    journal.give_back()
    assert journals.erase(JOB, reason="seven years", by="R. Okafor", wall="2039-01-01T00:00:00.000Z") == count
    again = journals.reopen(JOB, source=None, clock=HandClock())
    assert again.stored() == stored
    assert again.withheld() == ()
    opening = again.events()[0].body
    assert opening.vehicle.vin.text.startswith("personal:")  # type: ignore[union-attr]
    export_record(again, key, tmp_path / "r.zip")
    assert verify(tmp_path / "r.zip").intact
    for path in tmp_path.glob("journal.db*"):
        assert VIN.encode() not in path.read_bytes(), path
        assert b"Ada Quill" not in path.read_bytes(), path
    with pytest.raises(RecordError):
        journals.erase("absent", reason="x", by="R", wall="2039-01-01T00:00:00.000Z")


def test_a_reader_in_the_way_of_an_erasure_is_said(tmp_path: Path, journals: Journals) -> None:
    """Its old snapshot keeps the log from being emptied: nobody is told that all is gone."""
    personal_job(journals).give_back()
    reader = apsw.Connection(str(tmp_path / "journal.db"))
    reader.execute("BEGIN; SELECT count(*) FROM personal").fetchall()
    with pytest.raises(RecordError, match="erase once more"):
        journals.erase(JOB, reason="asked to", by="R. Vale", wall="2031-05-01T00:00:00.000Z")
    reader.execute("COMMIT")
    reader.close()
    assert journals.erase(JOB, reason="asked to", by="R. Vale", wall="2031-05-01T00:00:00.000Z") == 0
    assert not [path for path in tmp_path.glob("journal.db*") if b"1M8GDM9AXKP042788" in path.read_bytes()]


def test_what_is_due_for_erasure(journals: Journals) -> None:
    personal_job(journals).give_back()
    assert journals.due_for_erasure(today="2038-04-16T00:00:00.000Z", years=7) == ()
    assert journals.due_for_erasure(today="2038-04-18T00:00:00.000Z", years=7) == (JOB,)
    journals.erase(JOB, reason="due", by="R", wall="2038-04-18T00:00:00.000Z")
    assert journals.due_for_erasure(today="2038-04-18T00:00:00.000Z", years=7) == ()


def test_damaged_personal_values(journals: Journals, key: SigningKey) -> None:
    members = record_of(personal_job(journals), key).members()
    assert verify_members(members).intact
    lines = members["personal.jsonl"].splitlines(keepends=True)
    row = json.loads(lines[0])
    cases = {
        "another value": members["personal.jsonl"].replace(b"84112", b"84113"),
        "another salt": members["personal.jsonl"].replace(row["salt"].encode(), b"0" * 32),
        "another order": b"".join(reversed(lines)),
        "twice": b"".join([lines[0], *lines]),
        "a value nobody committed to": b"".join(
            [
                *lines,
                json.dumps({"commitment": "f" * 64, "salt": "", "value": ""}, separators=(",", ":")).encode(),
                b"\n",
            ]
        ),
        "no end": members["personal.jsonl"][:-1],
        "spaces": members["personal.jsonl"].replace(b'":"', b'": "'),
        "nothing": b"",
    }
    for name, content in cases.items():
        found = verify_members({**members, "personal.jsonl": content}).findings
        assert Flaw.PERSONAL in {f.flaw for f in found}, name


def test_a_failed_write_does_not_lose_the_value(journals: Journals, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = journals.create(JOB, source=Source(Origin.VEHICLE), clock=HandClock())

    def full(*_: object) -> None:
        raise RecordError(Code.JOURNAL_UNWRITABLE, "full")

    with monkeypatch.context() as patch:
        patch.setattr(journal, "_write", full)
        with pytest.raises(RecordError):
            journal.append(opened(Origin.VEHICLE))
    journal.append(opened(Origin.VEHICLE))
    assert VIN in {row.value for row in journal.withheld()}


@given(
    st.text(st.characters(exclude_categories=("Cs",)), min_size=5, max_size=20),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=10),
)
def test_hiding_and_revealing_are_inverse(name: str, around: str) -> None:
    salts = iter(f"{n:032x}" for n in range(100))
    book = PersonalBook(lambda: next(salts))
    fact = {"type": "fact-stated@1", "fact": {"key": "plate", "text": name, "source": ""}}
    hidden, rows = book.hide(fact)
    assert hidden["fact"]["text"] == f"personal:{rows[0].commitment}" or name.startswith("personal:")
    body, more = book.hide({"type": "noted@1", "text": f"{around} {name} {around}"})
    if len(name.strip()) >= 5:
        assert more
        assert body["text"].startswith("personal:")


def samples(count: int) -> SamplesTaken:
    times = tuple(n / 10 for n in range(count))
    return SamplesTaken(
        "r1", "idle", (Series("engine-speed", "rpm", times, tuple(700 + n % 7 / 4 for n in range(count)), 0.25),)
    )


@pytest.mark.parametrize("count", [0, INLINE, INLINE + 1, CHUNK, CHUNK + 1, 5000])
def test_long_series_are_kept_in_chunks(tmp_path: Path, journals: Journals, key: SigningKey, count: int) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    body = samples(count)
    journal.append(body)
    expected = 0 if count <= INLINE else -(-count // CHUNK)
    assert len(journal.chunks()) == expected
    assert len(journal.stored()[0]) < 12_000
    export_record(journal, key, tmp_path / "r.zip")
    result = verify(tmp_path / "r.zip")
    assert result.intact
    assert result.chunks == expected
    assert stored_events(tmp_path, JOB)[0].event.body == body


def test_damaged_chunks(journals: Journals, key: SigningKey) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    journal.append(samples(5000))
    members = record_of(journal, key).members()
    first, second, *_ = [name for name in members if name.startswith("chunks/")]
    cases = {
        "changed": {**members, first: members[first].replace(b"700", b"701", 1)},
        "missing": {name: content for name, content in members.items() if name != first},
        "exchanged": {**members, first: members[second], second: members[first]},
        "cut": {**members, first: members[first][:-1]},
        "strange": {**members, "chunks/" + "0" * 64: b"{}"},
    }
    assert verify_members(members).intact
    for name, changed in cases.items():
        assert {f.flaw for f in verify_members(changed).findings} == {Flaw.CHUNK}, name


def test_an_event_whose_chunk_is_gone_says_so(journals: Journals) -> None:
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    event = journal.append(samples(300))
    ready = to_stored(event, PersonalBook(lambda: "0" * 32))
    assert from_stored(ready.stored, ready.chunks.get, {}) == event
    with pytest.raises(RecordError, match="missing or changed"):
        from_stored(ready.stored, lambda _: None, {})
    assert decode(ready.stored).body.series[0].values == ()  # type: ignore[union-attr]


def test_access_keys_never_enter(journals: Journals) -> None:
    """Security access (27) and authentication (29): the receipt holds the bytes, the record only the service."""
    journal = journals.create(JOB, source=Source(), clock=HandClock())
    secret = intent("i1", "2702DEADBEEF")
    receipt = journal.intend(secret.__class__(**{**_fields(secret), "effect": Effect.ACCESS}))
    assert receipt.payload == "2702DEADBEEF"
    journal.redeem(receipt)
    journal.append(EffectAnswered("i1", "6701CAFE", None, Message("a", "seed", {})))
    journal.append(EffectAnswered("i1", "7F2735", 0x35, Message("a", "refused", {})))
    stored = b"".join(journal.stored())
    assert b"DEADBEEF" not in stored
    assert b"CAFE" not in stored
    assert b'"payload":"2702"' in stored
    assert b'"answer":"6701"' in stored
    assert b'"answer":"7F2735"' in stored


def _fields(value: object) -> dict[str, object]:
    return {name: getattr(value, name) for name in value.__struct_fields__}  # type: ignore[attr-defined]


def test_a_time_stamp_has_its_place(tmp_path: Path, journals: Journals, key: SigningKey) -> None:
    journal = small_job(journals)
    export_record(journal, key, tmp_path / "r.zip", stamp=b"token")
    assert verify(tmp_path / "r.zip").intact
    assert b"head.tsr" in (tmp_path / "r.zip").read_bytes()
