"""Seals, key history, rotation and revocation; older layouts of the database."""

from __future__ import annotations

import os
from pathlib import Path

import apsw
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from asleft.model.errors import Code, RecordError
from asleft.record import keys
from asleft.record.export import export_record, record_members
from asleft.record.findings import Findings, Flaw
from asleft.record.journal import Journals, open_journal
from asleft.record.key_history import KeyAct, added, read_history
from asleft.record.keys import HISTORY_FILE, NEXT_FILE, PRIVATE_FILE, SigningKey, revoke, rotate
from asleft.record.schema import STEPS
from asleft.record.seals import due, seal_lines
from asleft.record.tail import stored_events
from asleft.record.verify import NOTHING, Held, verify, verify_members
from kit.record_kit import JOB, HandClock, Source, note, small_job

WALL = "2031-04-17T08:00:00.000Z"


@pytest.fixture
def key(tmp_path: Path) -> SigningKey:
    return SigningKey.load_or_make(tmp_path)


def long_job(journals: Journals, events: int, job: str = JOB) -> None:
    with journals.create(job, source=Source(), clock=HandClock()) as journal:
        for number in range(events):
            journal.append(note(str(number)))


def flaws(result: Findings) -> set[Flaw]:
    return {finding.flaw for finding in result.findings}


def test_which_events_are_sealed() -> None:
    assert [due(n) for n in (1, 63, 64, 65, 128)] == [(1,), (63,), (64,), (64, 65), (64, 128)]


def test_a_journal_with_a_key_seals_as_it_grows(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path, key=key) as journals:
        long_job(journals, 130)
    raw = apsw.Connection(str(tmp_path / "journal.db"))
    assert raw.execute("SELECT sequence FROM seal").fetchall() == [(64,), (128,)]
    with pytest.raises(apsw.ConstraintError):
        raw.execute("DELETE FROM seal")
    with pytest.raises(apsw.ConstraintError):
        raw.execute("UPDATE seal SET signature = ''")
    raw.close()


def test_closing_seals_and_the_export_signs_nothing_again(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path, key=key) as journals, small_job(journals) as journal:
        export_record(journal, key, tmp_path / "a.zip")
        rotate(tmp_path, wall=WALL, reason="yearly")
        new = SigningKey.load_or_make(tmp_path)
        assert new.fingerprint != key.fingerprint
        export_record(journal, new, tmp_path / "b.zip")
    before, after = verify(tmp_path / "a.zip"), verify(tmp_path / "b.zip")
    assert before.intact
    assert after.intact
    assert after.key == before.key == key.fingerprint


def test_a_job_over_a_rotation(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path, key=key) as journals:
        long_job(journals, 70)
        new = rotate(tmp_path, wall=WALL, reason="yearly")
        with journals.reopen(JOB, source=Source(), clock=HandClock()) as journal:
            export_record(journal, new, tmp_path / "r.zip")
    result = verify(tmp_path / "r.zip", public_key=key.public_pem)
    assert result.intact, result.findings
    assert result.key == new.fingerprint
    assert verify(tmp_path / "r.zip", public_key=new.public_pem).intact


def test_a_lost_key_vouches_for_nobody(tmp_path: Path, key: SigningKey) -> None:
    new = rotate(tmp_path, wall=WALL, reason="disk broke", lost=True)
    assert read_history(new.history).lines[-1].body.act is KeyAct.REPLACED
    with open_journal(tmp_path) as journals, small_job(journals) as journal:
        export_record(journal, new, tmp_path / "r.zip")
    assert verify(tmp_path / "r.zip").intact
    assert flaws(verify(tmp_path / "r.zip", public_key=key.public_pem)) == {Flaw.KEY}


def test_a_revoked_key_is_not_believed_from_then_on(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path, key=key) as journals, small_job(journals) as journal:
        export_record(journal, key, tmp_path / "r.zip")
    rotate(tmp_path, wall=WALL, reason="stolen")
    for since, believed in (("2031-05-01T00:00:00.000Z", True), ("2031-01-01T00:00:00.000Z", False)):
        revoke(tmp_path, key.signer.public, wall=WALL, since=since, reason="stolen with the laptop")
        published = (tmp_path / HISTORY_FILE).read_bytes()
        result = verify(tmp_path / "r.zip", key_history=published)
        assert result.intact is believed
    assert "stolen with the laptop" in result.findings[0].text
    assert verify(tmp_path / "r.zip").intact


def test_the_key_in_use_cannot_be_revoked(tmp_path: Path, key: SigningKey) -> None:
    with pytest.raises(RecordError) as caught:
        revoke(tmp_path, key.signer.public, wall=WALL, reason="x")
    assert caught.value.code is Code.KEY_UNUSABLE


def test_rotation_with_a_passphrase(tmp_path: Path) -> None:
    SigningKey.load_or_make(tmp_path / "k", b"chalk")
    with pytest.raises(RecordError):
        rotate(tmp_path / "k", wall=WALL, reason="x")
    new = rotate(tmp_path / "k", wall=WALL, reason="x", passphrase=b"chalk")
    assert SigningKey.load_or_make(tmp_path / "k", b"chalk").fingerprint == new.fingerprint
    assert not (tmp_path / "k" / NEXT_FILE).exists()


@pytest.mark.parametrize("at", range(1, 8))
def test_a_crash_in_a_rotation_leaves_one_key_in_use(
    tmp_path: Path, key: SigningKey, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """The program dies at its n-th file operation (replace, link or sync of a folder)."""
    left = at

    def counted(name: str, original: object) -> object:
        def call(*arguments: object, **named: object) -> object:
            nonlocal left
            left -= 1
            if left == 0:
                raise KeyboardInterrupt(name)
            return original(*arguments, **named)  # type: ignore[operator]

        return call

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", counted("replace", Path.replace))
        patch.setattr("asleft.record.files.sync_folder", counted("sync", keys.put_file.__globals__["sync_folder"]))
        try:
            rotate(tmp_path, wall=WALL, reason="yearly")
        except KeyboardInterrupt:
            pass
        else:
            assert at > 5
    after = SigningKey.load_or_make(tmp_path)
    assert read_history(after.history).keys[-1] == after.signer.public
    assert read_history(after.history).keys[0] == key.signer.public
    assert not (tmp_path / NEXT_FILE).exists()


def test_a_history_that_does_not_hold_makes_the_key_unusable(tmp_path: Path, key: SigningKey) -> None:
    (tmp_path / HISTORY_FILE).write_bytes(key.history.replace(b'"wall":""', b'"wall":"x"'))
    with pytest.raises(RecordError) as caught:
        SigningKey.load_or_make(tmp_path)
    assert f"{HISTORY_FILE}:1" in caught.value.where
    (tmp_path / HISTORY_FILE).write_bytes(SigningKey(Ed25519PrivateKey.generate()).history)
    with pytest.raises(RecordError, match="another key last"):
        SigningKey.load_or_make(tmp_path)
    os.remove(tmp_path / PRIVATE_FILE)
    with pytest.raises(RecordError):
        SigningKey.load_or_make(tmp_path)


def test_statements_that_do_not_fit(key: SigningKey) -> None:
    other, third = (SigningKey(Ed25519PrivateKey.generate()) for _ in range(2))
    me, you = key.signer, other.signer
    cases = {
        "made twice": added(key.history, KeyAct.MADE, you.public, [you]),
        "rotated by nobody who may": added(key.history, KeyAct.ROTATED, you.public, [third.signer, you]),
        "rotated without the new one": added(key.history, KeyAct.ROTATED, you.public, [me]),
        "rotated to itself": added(key.history, KeyAct.ROTATED, me.public, [me, me]),
        "revoked by a stranger": added(key.history, KeyAct.REVOKED, me.public, [you]),
        "first is no making": added(key.history, KeyAct.ROTATED, you.public, [me, you]).split(b"\n", 1)[1],
        "an empty line": key.history + b"\n",
        "no end": key.history[:-1],
        "nothing": b"",
    }
    for name, content in cases.items():
        assert read_history(content).problem, name
    rotated = added(key.history, KeyAct.ROTATED, you.public, [me, you])
    assert read_history(rotated).keys == (me.public, you.public)
    assert read_history(rotated).vouched(me.public) == {me.public, you.public}
    assert read_history(rotated).vouched(you.public) == {you.public}


def test_every_seal_must_be_there_and_hold(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path, key=key) as journals:
        long_job(journals, 130)
        with journals.reopen(JOB, source=Source(), clock=HandClock()) as journal:
            seals = journal.seal(key)
            members = record_members(journal.stored(), key, seals)
    assert verify_members(members).intact
    stranger = SigningKey(Ed25519PrivateKey.generate()).signer
    forged = seals[0].__class__(64, seals[0].hash, stranger.public, stranger.sign(f"{seals[0].hash}\n".encode()))
    for name, changed in {
        "one missing": seals[1:],
        "another order": (seals[1], seals[0], seals[2]),
        "one twice": (seals[0], *seals),
        "by a stranger's key": (forged, *seals[1:]),
        "none": (),
    }.items():
        assert Flaw.SEAL in flaws(verify_members({**members, "seals.jsonl": seal_lines(changed)})), name


def test_a_segment_rewritten_before_its_seal_shows(tmp_path: Path, key: SigningKey) -> None:
    """Somebody without the key rewrites the whole database file after a seal was made."""
    with open_journal(tmp_path / "a", key=key) as journals:
        long_job(journals, 70)
    with open_journal(tmp_path / "b") as journals:
        with journals.create(JOB, source=Source(), clock=HandClock()) as journal:
            for number in range(70):
                journal.append(note("other" if number == 3 else str(number)))
        raw = apsw.Connection(str(tmp_path / "b" / "journal.db"))
        raw.execute(f"ATTACH '{tmp_path / 'a' / 'journal.db'}' AS a; INSERT INTO seal SELECT * FROM a.seal")
        raw.close()
        with journals.reopen(JOB, source=Source(), clock=HandClock()) as journal:
            export_record(journal, key, tmp_path / "r.zip")
    found = verify(tmp_path / "r.zip").findings
    assert {f.flaw for f in found} == {Flaw.SEAL}
    assert found[0].event == 64


def test_held_is_nothing_by_default() -> None:
    assert Held() == NOTHING


def test_a_database_of_the_first_layout_is_brought_forward(tmp_path: Path, key: SigningKey) -> None:
    with open_journal(tmp_path / "new") as journals:
        small_job(journals, close=False).give_back()
    links = stored_events(tmp_path / "new", JOB)
    (tmp_path / "old").mkdir()
    old = apsw.Connection(str(tmp_path / "old" / "journal.db"))
    old.execute(STEPS[0])
    old.execute("PRAGMA application_id = 1634954342; PRAGMA user_version = 1")
    old.execute("INSERT INTO job VALUES (?, 'bench')", (JOB,))
    for link in links:
        row = (JOB, link.event.sequence, link.event.previous, link.hash, link.stored)
        old.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?)", row)
    old.close()
    with open_journal(tmp_path / "old", key=key) as journals:
        journal = journals.reopen(JOB, source=Source(), clock=HandClock())
        assert journal.stored() == tuple(link.stored for link in links)
        journal.append(note("goes on"))
        export_record(journal, key, tmp_path / "r.zip")
        journal.give_back()
    assert verify(tmp_path / "r.zip").intact
