"""Commands about keys and records, as a workshop uses them, on a real data folder."""

from __future__ import annotations

import contextlib
import io
import json
import zipfile
from pathlib import Path

import apsw
import pytest

from asleft.cli import run as run_command
from asleft.job.keyring import PASSPHRASE
from asleft.job.papers import write_papers
from asleft.record.journal import open_journal
from asleft.record.keys import HISTORY_FILE, PRIVATE_FILE, SigningKey
from asleft.record.page import verifier_page
from kit.record_kit import JOB, small_job
from kit.stamping import Stamper

VIN = b"1M8GDM9AXKP042788"


def run(*arguments: str | Path, code: int = 0) -> str:
    """Run a command in this process and check its exit code; returns all it said."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        given = run_command([str(a) for a in arguments])
    assert given == code, out.getvalue()
    return out.getvalue()


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with a closed job and its record."""
    folder = tmp_path / "data"
    with open_journal(folder, key=SigningKey.load_or_make(folder)) as journals, small_job(journals) as journal:
        write_papers(folder, journal)
    return folder


def test_a_key_is_rotated_and_the_old_one_revoked(data: Path, tmp_path: Path) -> None:
    old = json.loads(run("key", "show", "--json", "--data", data))[0]["fingerprint"]
    run("record", "export", JOB, tmp_path / "before.zip", "--data", data)
    run("key", "revoke", old, "--reason", "stolen", "--data", data, code=6)
    new = run("key", "rotate", "--reason", "laptop stolen", "--data", data).split()[-1]
    assert old in run("key", "revoke", old[:8], "--reason", "stolen", "--since", "2031-01-01", "--data", data)
    said = run("key", "show", "--data", data)
    assert f"{new}  rotated" in said
    assert "revoked from 2031-01-01T00:00:00.000Z on: stolen" in said
    run("key", "revoke", "0000", "--reason", "x", "--data", data, code=2)
    run("key", "revoke", old, "--reason", "x", "--since", "yesterday", "--data", data, code=2)
    run("verify", tmp_path / "before.zip")
    assert "revoked" in run("verify", tmp_path / "before.zip", "--history", data / HISTORY_FILE, code=1)
    run("key", "show", "--data", tmp_path / "nothing", code=2)


def test_a_lost_key_is_replaced_and_nobody_vouches(data: Path, tmp_path: Path) -> None:
    (tmp_path / "old.pem").write_bytes(SigningKey.load_or_make(data).public_pem)
    (data / PRIVATE_FILE).write_text("lost")
    run("key", "rotate", "--reason", "disk broke", "--data", data, code=6)
    run("key", "rotate", "--reason", "disk broke", "--lost", "--data", data)
    with open_journal(data, key=SigningKey.load_or_make(data)) as journals:
        small_job(journals, "NEW-1").give_back()
    run("record", "export", "NEW-1", tmp_path / "r.zip", "--data", data)
    run("verify", tmp_path / "r.zip")
    assert "another key" in run("verify", tmp_path / "r.zip", "--key", tmp_path / "old.pem", code=1)


def test_a_passphrase_by_the_environment(data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("typer.prompt", lambda *_, **__: "chalk and cheese")
    run("key", "passphrase", "--data", data)
    assert b"ENCRYPTED" in (data / PRIVATE_FILE).read_bytes()
    run("record", "export", JOB, tmp_path / "r.zip", "--data", data, code=6)
    monkeypatch.setenv(PASSPHRASE, "chalk and cheese")
    run("record", "export", JOB, tmp_path / "r.zip", "--data", data)
    run("key", "passphrase", "--remove", "--data", data)
    assert b"ENCRYPTED" not in (data / PRIVATE_FILE).read_bytes()


def test_a_copy_is_made_and_put_back(data: Path, tmp_path: Path) -> None:
    assert "1 job(s)" in run("record", "backup", tmp_path / "copy.db", "--data", data)
    assert "1 job(s)" in run("record", "restore", tmp_path / "copy.db", "--data", tmp_path / "again")
    run("record", "restore", tmp_path / "copy.db", "--data", tmp_path / "again", code=6)
    run("record", "export", JOB, tmp_path / "a.zip", "--data", tmp_path / "again", code=6)
    (tmp_path / "again" / PRIVATE_FILE).write_bytes((data / PRIVATE_FILE).read_bytes())
    (tmp_path / "again" / PRIVATE_FILE).chmod(0o600)
    run("record", "export", JOB, tmp_path / "a.zip", "--data", tmp_path / "again")
    run("verify", tmp_path / "a.zip")


def test_a_copy_is_put_back_without_its_key(data: Path, tmp_path: Path) -> None:
    run("record", "backup", tmp_path / "copy.db", "--data", data)
    assert "asleft key rotate --lost" in run("record", "restore", tmp_path / "copy.db", "--data", tmp_path / "b")
    run("key", "rotate", "--lost", "--reason", "the disk broke", "--data", tmp_path / "b")
    run("record", "export", JOB, tmp_path / "b.zip", "--data", tmp_path / "b")
    run("verify", tmp_path / "b.zip")


def test_erasing_reaches_journal_and_record(data: Path, tmp_path: Path) -> None:
    record = data / "papers" / f"{JOB}.record.zip"
    assert VIN in record.read_bytes()
    said = run("record", "erase", JOB, "--by", "R. Vale", "--reason", "asked to", "--yes", "--data", data)
    assert said.endswith("personal text(s) erased\n")
    assert not said.startswith("0 ")
    for path in data.rglob("*"):
        assert not path.is_file() or VIN not in path.read_bytes(), path
    assert "withheld" in run("verify", record)
    raw = apsw.Connection(str(data / "journal.db"))
    assert raw.execute("SELECT reason, by FROM erasure").fetchall() == [("asked to", "R. Vale")]
    raw.close()
    assert "0 job(s)" in run("record", "due", "--years", "0", "--data", data)
    run("record", "erase", "NO-1", "--by", "x", "--reason", "y", "--yes", "--data", data, code=6)


def test_erasing_is_asked_for(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    run("record", "erase", JOB, "--by", "R. Vale", "--reason", "asked to", "--data", data, code=1)
    assert VIN in (data / "papers" / f"{JOB}.record.zip").read_bytes()


def test_a_redacted_record_checks(data: Path, tmp_path: Path) -> None:
    run("record", "export", JOB, tmp_path / "r.zip", "--redacted", "--data", data)
    assert VIN not in (tmp_path / "r.zip").read_bytes()
    assert "withheld" in run("verify", tmp_path / "r.zip")


def test_a_correction_follows_a_closed_job_in_its_record(data: Path) -> None:
    said = run("record", "correct", JOB, "2", "bank 1", "--by", "R. Vale", "--reason", "typed wrongly", "--data", data)
    assert said.startswith("event ")
    record = data / "papers" / f"{JOB}.record.zip"
    run("verify", record)
    with zipfile.ZipFile(record) as archive:
        assert b"corrected@1" in archive.read("events.jsonl").splitlines()[-1]
    run("record", "correct", JOB, "99", "x", "--by", "R. Vale", "--reason", "y", "--data", data, code=6)


def test_a_time_stamp_is_carried_and_checked(data: Path, tmp_path: Path) -> None:
    stamper = Stamper(tmp_path / "stamper")
    with zipfile.ZipFile(data / "papers" / f"{JOB}.record.zip") as archive:
        (tmp_path / "head.tsr").write_bytes(stamper.token(archive.read("head")))
    (tmp_path / "other.tsr").write_bytes(stamper.token(b"other"))
    (tmp_path / "authority.pem").write_bytes(stamper.authority)
    for name in ("head", "other"):
        stamp = tmp_path / f"{name}.tsr"
        run("record", "export", JOB, tmp_path / f"{name}.zip", "--stamp", stamp, "--data", data)
    assert "nobody vouches for it" in run("verify", tmp_path / "head.zip")
    said = run("verify", tmp_path / "head.zip", "--authority", tmp_path / "authority.pem")
    assert "vouched for by the authority given" in said
    assert "does not hold: it is over other bytes" in run("verify", tmp_path / "other.zip")
    run("verify", tmp_path / "other.zip", "--authority", tmp_path / "authority.pem", code=1)
    assert json.loads(run("verify", tmp_path / "head.zip", "--json"))["stamp"]["by"] == "CN=Gable Street stamps"


def test_the_page_to_give_away(tmp_path: Path) -> None:
    run("record", "verifier-page", tmp_path / "check.html")
    assert (tmp_path / "check.html").read_bytes() == verifier_page()
